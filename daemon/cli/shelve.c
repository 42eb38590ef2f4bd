/* lentic shelve: an alert is put aside for a limited time. */
#include "cli/ask.h"
#include "cli/verbs.h"

int shelve_main(int argc, char **argv)
{
    static const struct ask_verb verb = {
        .name = "shelve",
        .about = "Puts an alert aside for a limited time, 24 h at most: it is watched and recorded, but "
                 "tells nobody.",
        .more = "  lentic shelve a1/ec-drift --for 2h --why \"new substrate, expected\"\n\nExit codes: 0 "
                "done, 1 refused, 2 usage, 3 the service does not answer.",
        .span = "for how long: 45m, 2h, 1d",
        .needs_span = true,
        .needs_why = true,
        .span_most = 86400,
    };
    return ask_main(&verb, argc, argv);
}
