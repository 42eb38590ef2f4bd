#include "cli/probes_exchange.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "cli/talk.h"

#define JSON_ROOM 900

/* The request names a probe by its name, or place and quantity joined by a slash. */
static bool put_probe(const struct site *site, const char *probe, struct text *out)
{
    for (int i = 0; i < site->stream_count; i++)
        if (strcmp(site->streams[i].name, probe) == 0) {
            json_key(out, "probe");
            json_string(out, probe);
            return true;
        }
    const char *slash = strrchr(probe, '/');
    if (slash == NULL || quantity_find(slash + 1, strlen(slash + 1)) == Q_COUNT ||
        site_place_find(site, probe, (size_t)(slash - probe)) < 0)
        return false;
    json_key(out, "place");
    json_string_n(out, probe, (size_t)(slash - probe));
    json_key(out, "quantity");
    json_string(out, slash + 1);
    return true;
}

int probes_exchange(const struct options *o, const struct site *site, const struct exchange_wish *wish)
{
    char json[JSON_ROOM], sentence[TALK_ANSWER_MAX];
    struct text out = text_over(json, sizeof json);
    struct talk talk;
    if (wish->device == NULL)
        return options_fail(o, 2, "--exchange needs --device ID: what the new one is called");
    json_open(&out, '{');
    if (!put_probe(site, wish->probe, &out))
        return options_fail(o, 2,
                            "--exchange %.80s: say place and quantity, like tank/a1/ph, or the probe's topic",
                            wish->probe);
    json_put_given(&out, "device", wish->device);
    json_put_given(&out, "at", wish->since);
    json_put_given(&out, "who", wish->who);
    json_put_given(&out, "why", wish->why);
    json_close(&out, '}');
    int code = talk_open(&talk, o, site, NULL, 0, NULL, NULL);
    if (code == OPTIONS_GO_ON) {
        code = talk_command(&talk, "exchange", json, sentence);
        if (code == 0)
            printf("%s\n", sentence);
        else
            (void)options_fail(o, code, "%s%s", code == 1 ? "refused: " : "", sentence);
    }
    talk_close(&talk);
    return code;
}
