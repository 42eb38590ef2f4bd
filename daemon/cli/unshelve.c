/* lentic unshelve: an alert that was put aside tells people again. */
#include "cli/ask.h"
#include "cli/verbs.h"

int unshelve_main(int argc, char **argv)
{
    static const struct ask_verb verb = {
        .name = "unshelve",
        .about = "Ends the putting aside of an alert, or of all at a place, before its time.",
        .more = "  lentic unshelve a1/ec-drift\n\nExit codes: 0 done, 1 refused, 2 usage, 3 the service does "
                "not answer.",

    };
    return ask_main(&verb, argc, argv);
}
