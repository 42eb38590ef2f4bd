#include "plan/topoff.h"
#include "cli/live.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#include <math.h>
#include <stdio.h>

struct topoff_request {
    const char *conf, *was, *now, *litres_now;
    bool json;
};

static void print_json(const struct site *site, const struct topoff_ask *ask, const struct topoff_plan *p,
                       struct text *t)
{
    json_open(t, '{');
    json_key(t, "tank");
    json_string(t, site->tanks[ask->tank].id);
    sums_member(t, "was", ask->was);
    sums_member(t, "now", ask->now);
    sums_member(t, "litres", p->litres);
    sums_member(t, "share", p->share);
    json_close(t, '}');
}

static void print_words(const struct site *site, const struct topoff_ask *ask, const struct topoff_plan *p)
{
    const struct tank *tank = &site->tanks[ask->tank];
    printf("tank %s: %.2f L of purified water (%.1f %% of %.3g L) bring %.4g back to %.4g µS/cm\n",
           tank->name, p->litres, p->share * 100.0, tank->volume_l, ask->now, ask->was);
    if (p->large)
        printf("  that is much: add it in portions, and look whether salts or food rather than evaporation "
               "raised it\n");
}

static int answer(const struct options *o, const struct site *site, bool json, const char *id,
                  struct topoff_ask *ask)
{
    struct topoff_plan plan;
    struct why why;
    char buf[1024];
    int code = sums_tank(o, site, id, &ask->tank);
    if (code == OPTIONS_GO_ON && isnan(ask->now))
        code = live_start(o, site, ask->tank, Q_EC, &ask->now);
    if (code != OPTIONS_GO_ON)
        return code;
    int water = site->tanks[ask->tank].water;
    if (isnan(ask->was) && water >= 0)
        ask->was = site->waters[water].target[Q_EC];
    if (isnan(ask->was))
        return options_fail(o, 2, "the tank's water has no ec target: say --was");
    enum status st = topoff_eval(site, ask, &plan, &why);
    if (st != STATUS_OK)
        return sums_refuse(o, st, &why);
    if (!json) {
        print_words(site, ask, &plan);
        return 0;
    }
    struct text t = text_over(buf, sizeof buf);
    print_json(site, ask, &plan, &t);
    return sums_print_json(&t);
}

int topoff_main(int argc, char **argv)
{
    struct topoff_request r = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &r.conf, 0, 0 },
        { "now", "EC", "in the tank at present (what the service says now)", OPTION_TEXT, &r.now, 0, 0 },
        { "was", "EC", "when it was full (target of the tank's water)", OPTION_TEXT, &r.was, 0, 0 },
        { "litres-now", "L", "in the tank at present (else by its full volume)", OPTION_TEXT, &r.litres_now,
          0, 0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = { "topoff",
                               "TANK",
                               "Purified water that makes good what evaporated, judged by the conductivity.",
                               items,
                               sizeof items / sizeof *items,
                               "  lentic topoff a1\n  lentic topoff a1 --now 215" };
    const char *id;
    double nan = (double)NAN;
    struct topoff_ask ask = { .was = nan, .now = nan, .litres_now = nan };
    struct site *site = NULL;
    int code = sums_read(&o, argc, argv, &id);
    const struct sums_value values[] = {
        { "now", r.now, UNIT_EC, "uS/cm", &ask.now },
        { "was", r.was, UNIT_EC, "uS/cm", &ask.was },
        { "litres-now", r.litres_now, UNIT_VOLUME, "L", &ask.litres_now },
    };
    if (code == OPTIONS_GO_ON)
        code = sums_values(&o, values, sizeof values / sizeof *values);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, r.conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = answer(&o, site, r.json, id, &ask);
    site_free(site);
    return code;
}
