/* lentic reset: a latched alert that is over and acknowledged is put back. */
#include "cli/ask.h"
#include "cli/verbs.h"

int reset_main(int argc, char **argv)
{
    static const struct ask_verb verb = {
        .name = "reset",
        .about =
            "Puts back an alert that waits for it after it is over and acknowledged (latching alerts only).",
        .more = "  lentic reset a1/leak --why \"seal replaced\"\n\nExit codes: 0 done, 1 refused, 2 usage, 3 "
                "the service does not answer.",

    };
    return ask_main(&verb, argc, argv);
}
