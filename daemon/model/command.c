#include "model/command.h"

#include <math.h>
#include <string.h>

static const char *const names[COMMAND_COUNT] = {
    [COMMAND_ACK] = "ack",           [COMMAND_RESET] = "reset",     [COMMAND_SHELVE] = "shelve",
    [COMMAND_UNSHELVE] = "unshelve", [COMMAND_SERVICE] = "service", [COMMAND_OUT] = "out",
    [COMMAND_BACK] = "back",         [COMMAND_NOTE] = "note",       [COMMAND_CALIBRATE] = "calibrate",
    [COMMAND_EXCHANGE] = "exchange", [COMMAND_TEST] = "test",
};

const char *command_name(enum command_verb v)
{
    return names[v];
}

enum command_verb command_find(const char *name, size_t n)
{
    for (int v = 0; v < COMMAND_COUNT; v++)
        if (strlen(names[v]) == n && memcmp(names[v], name, n) == 0)
            return (enum command_verb)v;
    return COMMAND_COUNT;
}

struct command command_of(enum command_verb verb)
{
    return (struct command){ .verb = verb,
                             .place = -1,
                             .alert = -1,
                             .minutes = NAN,
                             .quantity = Q_COUNT,
                             .value = NAN,
                             .at = UTC_NONE,
                             .stream = -1,
                             .gain = NAN,
                             .offset = NAN,
                             .back_to = UTC_NONE };
}
