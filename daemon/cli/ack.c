/* lentic ack: somebody has seen an alert and deals with it. */
#include "cli/ask.h"
#include "cli/verbs.h"

int ack_main(int argc, char **argv)
{
    static const struct ask_verb verb = {
        .name = "ack",
        .about = "Acknowledges an alert, or all of a place: somebody has seen it and deals with it. It goes "
                 "on being watched.",
        .more = "  lentic ack a1/temp-low\n  lentic ack tank/a1 --why \"spare heater is in\"\n\nExit codes: "
                "0 done, 1 refused, 2 usage, 3 the service does not answer.",

    };
    return ask_main(&verb, argc, argv);
}
