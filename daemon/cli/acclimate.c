#include "plan/drip.h"
#include "cli/live.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

#include <math.h>
#include <stdio.h>

#define DROPS_PER_ML 20.0 /* a common drip fitting; count yours once */

struct acclimate_request {
    const char *conf, *from;
    const char *litres, *vessel, *fastest;
    const char *bag_temp, *bag_ec, *bag_ph, *bag_tan;
    const char *temp, *ec, *ph;
    bool json;
};

static void print_json(const struct site *site, const struct drip_ask *ask, const struct drip_plan *p,
                       struct text *t)
{
    json_open(t, '{');
    json_key(t, "tank");
    json_string(t, site->tanks[ask->tank].id);
    json_key(t, "do_not_drip");
    json_bool(t, p->do_not_drip);
    sums_member(t, "nh3_bag", p->nh3_bag_mg_l);
    sums_member(t, "nh3_risen", p->nh3_risen_mg_l);
    sums_member(t, "hours", p->schedule.hours);
    sums_member(t, "litres", p->schedule.litres);
    json_key(t, "stages");
    json_open(t, '[');
    for (int i = 0; i < p->schedule.count; i++) {
        const struct acclimation_stage *s = &p->schedule.stages[i];
        json_open(t, '{');
        sums_member(t, "rate_l_h", s->rate_l_h);
        sums_member(t, "hours", s->hours);
        sums_member(t, "added_l", s->added_l);
        sums_member(t, "discard_l", s->discard_l);
        sums_member(t, "temp", s->reached[ACCLIMATION_TEMP]);
        sums_member(t, "ec", s->reached[ACCLIMATION_EC]);
        sums_member(t, "ph", s->reached[ACCLIMATION_PH]);
        json_close(t, '}');
    }
    json_close(t, ']');
    json_close(t, '}');
}

static void print_stage(int number, const struct acclimation_stage *s)
{
    printf("  %d. drip %.2f L in %.1f h (%.2f L/h, some %.0f drops a minute)", number, s->added_l, s->hours,
           s->rate_l_h, s->rate_l_h * 1000.0 * DROPS_PER_ML / 60.0);
    if (!isnan(s->reached[ACCLIMATION_EC]))
        printf(", then %.0f µS/cm", s->reached[ACCLIMATION_EC]);
    if (!isnan(s->reached[ACCLIMATION_PH]))
        printf(", pH %.1f", s->reached[ACCLIMATION_PH]);
    if (!isnan(s->reached[ACCLIMATION_TEMP]))
        printf(", %.1f °C", s->reached[ACCLIMATION_TEMP]);
    if (s->discard_l > 0.0)
        printf("; discard %.2f L", s->discard_l);
    putchar('\n');
}

static void print_words(const struct site *site, const struct drip_ask *ask, const struct drip_plan *p)
{
    static const char *const governs[] = { "temperature", "conductivity", "pH", "the drip itself" };
    const struct tank *tank = &site->tanks[ask->tank];
    if (p->do_not_drip) {
        printf("do NOT drip these up slowly: the bag's ammonia would turn poisonous as the pH rises\n"
               "  un-ionised %.3f mg/L at the tank's pH (limit %.2f). Match the temperature, then net the "
               "animals across\n"
               "  into clean water of the bag's own conductivity and pH, and drip from there; throw the bag "
               "water away.\n",
               p->nh3_risen_mg_l, DRIP_NH3_LIMIT_MG_L);
        return;
    }
    if (p->schedule.count == 0) {
        printf("nothing to drip: the bag is like tank %s\n", tank->name);
        return;
    }
    printf("%.2g L of the animals' water to tank %s: %.1f h, %.2f L of tank water; the pace is set by %s\n",
           ask->litres, tank->name, p->schedule.hours, p->schedule.litres, governs[p->schedule.governs]);
    for (int i = 0; i < p->schedule.count; i++)
        print_stage(i + 1, &p->schedule.stages[i]);
    printf("  then net them across and throw the water away; keep the vessel warm and covered meanwhile\n");
    if (isnan(ask->bag_tan_mg_l) && !(p->to[ACCLIMATION_PH] <= ask->bag[ACCLIMATION_PH]))
        printf("  test the bag for ammonia first (--bag-tan): with much of it and a rising pH do not drip\n");
}

static const enum quantity live_axes[ACCLIMATION_AXES] = {
    [ACCLIMATION_TEMP] = Q_TEMP, [ACCLIMATION_EC] = Q_EC, [ACCLIMATION_PH] = Q_PH
};

/* Animals that move from a tank of one's own bring its water: what is not said of that is what the service
 * says now. */
static int fill_from_other(const struct options *o, const struct site *site, const char *id,
                           struct drip_ask *ask)
{
    int from;
    struct live live;
    int code = sums_tank(o, site, id, &from);
    if (code == OPTIONS_GO_ON && from == ask->tank)
        code = options_fail(o, 2, "--from names the tank they go to");
    if (code == OPTIONS_GO_ON)
        code = live_read(o, site, from, &live);
    if (code != OPTIONS_GO_ON)
        return code;
    (void)fprintf(stderr, "from tank %s:\n", site->tanks[from].name);
    for (int i = 0; i < ACCLIMATION_AXES; i++) {
        if (!isnan(ask->bag[i]) || isnan(live.value[live_axes[i]]))
            continue;
        ask->bag[i] = live.value[live_axes[i]];
        live_tell(&live, live_axes[i]);
    }
    if (isnan(ask->bag_tan_mg_l))
        ask->bag_tan_mg_l = live.value[Q_TAN];
    (void)fprintf(stderr, "to tank %s:\n", site->tanks[ask->tank].name);
    return OPTIONS_GO_ON;
}

/* What is not said of the tank is what the service says now; where it does not, the target of its water. */
static void fill_from_tank(const struct options *o, const struct site *site, struct drip_ask *ask)
{
    struct live live;
    bool all = true;
    for (int i = 0; i < ACCLIMATION_AXES; i++)
        all = all && (!isnan(ask->tank_now[i]) || isnan(ask->bag[i]));
    if (all)
        return;
    if (live_read(o, site, ask->tank, &live) != OPTIONS_GO_ON) {
        (void)fprintf(stderr, "the targets of the tank's water are taken instead\n");
        return;
    }
    for (int i = 0; i < ACCLIMATION_AXES; i++) {
        if (!isnan(ask->tank_now[i]) || isnan(live.value[live_axes[i]]))
            continue;
        ask->tank_now[i] = live.value[live_axes[i]];
        live_tell(&live, live_axes[i]);
    }
}

static int answer(const struct options *o, const struct site *site, const struct acclimate_request *r,
                  const char *id, struct drip_ask *ask)
{
    struct drip_plan plan;
    struct why why;
    char buf[8192];
    int code = sums_tank(o, site, id, &ask->tank);
    if (code == OPTIONS_GO_ON && r->from != NULL)
        code = fill_from_other(o, site, r->from, ask);
    if (code != OPTIONS_GO_ON)
        return code;
    fill_from_tank(o, site, ask);
    enum status st = drip_eval(site, ask, &plan, &why);
    if (st != STATUS_OK)
        return sums_refuse(o, st, &why);
    if (!r->json) {
        print_words(site, ask, &plan);
        return 0;
    }
    struct text t = text_over(buf, sizeof buf);
    print_json(site, ask, &plan, &t);
    return sums_print_json(&t);
}

static int read_values(const struct options *o, const struct acclimate_request *r, struct drip_ask *ask)
{
    const struct sums_value values[] = {
        { "litres", r->litres, UNIT_VOLUME, "L", &ask->litres },
        { "vessel", r->vessel, UNIT_VOLUME, "L", &ask->vessel_l },
        { "fastest", r->fastest, UNIT_FLOW, "L/h", &ask->fastest_l_h },
        { "bag-temp", r->bag_temp, UNIT_TEMP, "Cel", &ask->bag[ACCLIMATION_TEMP] },
        { "bag-ec", r->bag_ec, UNIT_EC, "uS/cm", &ask->bag[ACCLIMATION_EC] },
        { "bag-ph", r->bag_ph, UNIT_NONE, "", &ask->bag[ACCLIMATION_PH] },
        { "bag-tan", r->bag_tan, UNIT_MASS_CONC, "mg/L", &ask->bag_tan_mg_l },
        { "temp", r->temp, UNIT_TEMP, "Cel", &ask->tank_now[ACCLIMATION_TEMP] },
        { "ec", r->ec, UNIT_EC, "uS/cm", &ask->tank_now[ACCLIMATION_EC] },
        { "ph", r->ph, UNIT_NONE, "", &ask->tank_now[ACCLIMATION_PH] },
    };
    return sums_values(o, values, sizeof values / sizeof *values);
}

int acclimate_main(int argc, char **argv)
{
    struct acclimate_request r = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &r.conf, 0, 0 },
        { "litres", "L", "of the animals' water (0.5 L)", OPTION_TEXT, &r.litres, 0, 0 },
        { "vessel", "L", "that the dripping vessel holds (twice the litres)", OPTION_TEXT, &r.vessel, 0, 0 },
        { "fastest", "RATE", "of the drip (1 L/h)", OPTION_TEXT, &r.fastest, 0, 0 },
        { "from", "TANK",
          "they come from this tank: what is not said of their water is what the service says of it",
          OPTION_TEXT, &r.from, 0, 0 },
        { "bag-temp", "T", "of the animals' water", OPTION_TEXT, &r.bag_temp, 0, 0 },
        { "bag-ec", "EC", "of it", OPTION_TEXT, &r.bag_ec, 0, 0 },
        { "bag-ph", "PH", "of it", OPTION_TEXT, &r.bag_ph, 0, 0 },
        { "bag-tan", "MG_L", "total ammonia in it, by hand test", OPTION_TEXT, &r.bag_tan, 0, 0 },
        { "temp", "T", "of the tank (what the service says now, else its water's target)", OPTION_TEXT,
          &r.temp, 0, 0 },
        { "ec", "EC", "of the tank (what the service says now, else its water's target)", OPTION_TEXT, &r.ec,
          0, 0 },
        { "ph", "PH", "of the tank (what the service says now, else its water's target)", OPTION_TEXT, &r.ph,
          0, 0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = {
        "acclimate",
        "TANK",
        "A drip schedule from the animals' own water into a tank, within their limits of change.",
        items,
        sizeof items / sizeof *items,
        "  lentic acclimate a1 --bag-temp 20 --bag-ec 380 --bag-ph 7.4 --bag-tan 0.5\n  lentic acclimate a1 "
        "--from b1"
    };
    const char *id;
    double nan = (double)NAN;
    struct drip_ask ask = { .litres = 0.5,
                            .vessel_l = nan,
                            .fastest_l_h = nan,
                            .bag = { nan, nan, nan },
                            .bag_tan_mg_l = nan,
                            .tank_now = { nan, nan, nan } };
    struct site *site = NULL;
    int code = sums_read(&o, argc, argv, &id);
    if (code == OPTIONS_GO_ON)
        code = read_values(&o, &r, &ask);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, r.conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = answer(&o, site, &r, id, &ask);
    site_free(site);
    return code;
}
