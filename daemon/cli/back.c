/* lentic back: an alert is back in service. */
#include "cli/ask.h"
#include "cli/verbs.h"

int back_main(int argc, char **argv)
{
    static const struct ask_verb verb = {
        .name = "back",
        .about = "Puts an alert, or all of a place, back in service.",
        .more = "  lentic back a7\n\nExit codes: 0 done, 1 refused, 2 usage, 3 the service does not answer.",

    };
    return ask_main(&verb, argc, argv);
}
