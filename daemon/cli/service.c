/* lentic service: work on a tank is going on; what it disturbs tells nobody meanwhile. */
#include <math.h>
#include <stdio.h>

#include "cli/ask.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

struct asked {
    const char *conf, *who, *why, *what;
    double seconds;
    bool end, json;
};

static int ask(const struct options *o, const struct asked *asked, const char *word)
{
    struct ask_request r = {
        .alert = -1, .what = asked->what, .who = ask_who(asked->who), .why = asked->why
    };
    struct why why = { "" };
    struct site *site = NULL;
    int code = sums_site(o, asked->conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    r.minutes = asked->end ? 0 : asked->seconds / 60;
    if (ask_target(site, word, &r.place, &r.alert, &why) != STATUS_OK)
        code = options_fail(o, 2, "%s", why.text);
    else if (r.alert >= 0 || site->places[r.place].tank < 0)
        code = options_fail(o, 2, "a service window is opened for a tank: lentic service a1");
    else
        code = ask_send(o, site, "service", &r, asked->json);
    site_free(site);
    return code;
}

int service_main(int argc, char **argv)
{
    struct asked asked = { .conf = SUMS_CONF, .seconds = NAN };
    const struct option items[] = {
        { "for", "SPAN", "for how long, 24 h at most; default: 1 h", OPTION_SPAN, &asked.seconds, 1, 86400 },
        { "end", NULL, "the work is done: end it now", OPTION_FLAG, &asked.end, 0, 0 },
        { "what", "WORK", "the kind of work: change, cleaning, heater, ...", OPTION_TEXT, &asked.what, 0, 0 },
        { "why", "TEXT", "further words, kept with it", OPTION_TEXT, &asked.why, 0, 0 },
        { "who", "NAME", "who works there; default: the login name", OPTION_TEXT, &asked.who, 0, 0 },
        { "conf", "FILE", "configuration that names broker and tanks", OPTION_TEXT, &asked.conf, 0, 0 },
        { "json", NULL, "the answer as one JSON object", OPTION_FLAG, &asked.json, 0, 0 },
    };
    const struct options options = {
        .verb = "service",
        .operands = "TANK",
        .about = "Opens a service window: work on the tank is going on. What the work disturbs is recorded "
                 "but tells "
                 "nobody;\nleaks still do. It ends by itself, and what is wrong then is told.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic service a1 --for 45m --what change\n  lentic service a1 --end\n\n"
                "Exit codes: 0 done, 1 refused, 2 usage, 3 the service does not answer.",
    };
    const char *word = NULL;
    int code = sums_read(&options, argc, argv, &word);
    if (code == OPTIONS_GO_ON && asked.end && !isnan(asked.seconds))
        code = options_fail(&options, 2, "--for and --end do not go together");
    return code == OPTIONS_GO_ON ? ask(&options, &asked, word) : code;
}
