#include "water/mixing.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#include <math.h>
#include <stdio.h>

struct blend_request {
    const char *conf, *water;
    const char *a, *b, *to, *litres;
    bool json;
};

struct blend_ask {
    double a, b, to, litres;
};

/* The configuration is read only when a water's target is asked for. */
static int target_of_water(const struct options *o, const struct blend_request *r, double *to)
{
    struct site *site = NULL;
    int water = 0;
    int code = sums_site(o, r->conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = sums_water(o, site, r->water, &water);
    if (code == OPTIONS_GO_ON)
        *to = site->waters[water].target[Q_EC];
    if (code == OPTIONS_GO_ON && isnan(*to))
        code = options_fail(o, 2, "water %s has no ec target: say --to", r->water);
    site_free(site);
    return code;
}

static int print_answer(const struct blend_ask *ask, double a_l, double b_l, bool json)
{
    char buf[512];
    if (!json) {
        printf("%.2f L of a (%.4g µS/cm) and %.2f L of b (%.4g µS/cm) make %.3g L of %.4g µS/cm\n", a_l,
               ask->a, b_l, ask->b, ask->litres, ask->to);
        return 0;
    }
    struct text t = text_over(buf, sizeof buf);
    json_open(&t, '{');
    sums_member(&t, "a", a_l);
    sums_member(&t, "b", b_l);
    sums_member(&t, "to", ask->to);
    json_close(&t, '}');
    return sums_print_json(&t);
}

static int answer(const struct options *o, const struct blend_request *r, struct blend_ask *ask)
{
    double a_l, b_l;
    struct why why;
    const struct sums_value values[] = {
        { "a", r->a, UNIT_EC, "uS/cm", &ask->a },
        { "b", r->b, UNIT_EC, "uS/cm", &ask->b },
        { "to", r->to, UNIT_EC, "uS/cm", &ask->to },
        { "litres", r->litres, UNIT_VOLUME, "L", &ask->litres },
    };
    int code = sums_values(o, values, sizeof values / sizeof *values);
    if (code == OPTIONS_GO_ON && r->water != NULL && r->to == NULL)
        code = target_of_water(o, r, &ask->to);
    if (code != OPTIONS_GO_ON)
        return code;
    if (r->a == NULL || r->b == NULL || isnan(ask->to))
        return options_fail(o, 2, "say both sources (--a, --b) and the target (--to or --water)");
    enum status st = mixing_blend(ask->a, ask->b, ask->to, ask->litres, &a_l, &b_l, &why);
    if (st != STATUS_OK)
        return sums_refuse(o, st, &why);
    return print_answer(ask, a_l, b_l, r->json);
}

int blend_main(int argc, char **argv)
{
    struct blend_request r = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "a", "EC", "of one source, such as purified water", OPTION_TEXT, &r.a, 0, 0 },
        { "b", "EC", "of the other, such as tap water", OPTION_TEXT, &r.b, 0, 0 },
        { "to", "EC", "wanted", OPTION_TEXT, &r.to, 0, 0 },
        { "water", "WATER", "take the target of this configured water", OPTION_TEXT, &r.water, 0, 0 },
        { "litres", "L", "how much (10 L)", OPTION_TEXT, &r.litres, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF "), read for --water only", OPTION_TEXT, &r.conf, 0,
          0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = {
        "blend",
        NULL,
        "Litres of two waters that make a third. Tap water may carry chlorine: treat it first.",
        items,
        sizeof items / sizeof *items,
        "  lentic blend --a 8 --b 520 --to 190 --litres 40"
    };
    double nan = (double)NAN;
    struct blend_ask ask = { nan, nan, nan, 10.0 };
    int code = sums_read(&o, argc, argv, NULL);
    return code == OPTIONS_GO_ON ? answer(&o, &r, &ask) : code;
}
