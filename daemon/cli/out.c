/* lentic out: an alert is taken out of service. */
#include "cli/ask.h"
#include "cli/verbs.h"

int out_main(int argc, char **argv)
{
    static const struct ask_verb verb = {
        .name = "out",
        .about = "Takes an alert, or all of a place, out of service: it tells nobody until it is put back, "
                 "and is named in every\n"
                 "daily summary.",
        .more =
            "  lentic out source/ro --why \"unit is being rebuilt\"\n  lentic out a7 --for 14d --why \"tank "
            "stands empty\"\n\nExit codes: 0 done, 1 refused, 2 usage, 3 the service does not answer.",
        .span = "for how long; default: until lentic back",
        .needs_why = true,
        .span_most = 366 * 86400.0,
    };
    return ask_main(&verb, argc, argv);
}
