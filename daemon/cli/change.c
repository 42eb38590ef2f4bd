#include "plan/change.h"
#include "cli/live.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "plan/source_facts.h"

#include <math.h>
#include <stdio.h>

struct change_request {
    const char *conf, *quantity;
    const char *now, *to, *with, *most;
    bool json;
};

/* What is not said follows from the tank's water: changed with it, to the edge of its drift, since changes
 * never quite reach their own water. */
static void fill_from_water(const struct site *site, struct change_ask *ask)
{
    int water = site->tanks[ask->tank].water;
    if (water < 0)
        return;
    const struct water *w = &site->waters[water];
    if (isnan(ask->with))
        ask->with = w->target[ask->quantity];
    if (isnan(ask->wanted) && !isnan(w->drift[ask->quantity])) {
        double gap = ask->now - w->target[ask->quantity];
        ask->wanted = fabs(gap) <= w->drift[ask->quantity]
                          ? ask->now
                          : w->target[ask->quantity] + copysign(w->drift[ask->quantity], gap);
    }
}

static void print_json(const struct site *site, const struct change_ask *ask, const struct change_plan *p,
                       struct text *t)
{
    json_open(t, '{');
    json_key(t, "tank");
    json_string(t, site->tanks[ask->tank].id);
    json_key(t, "quantity");
    json_string(t, quantity_info(ask->quantity)->name);
    sums_member(t, "now", ask->now);
    sums_member(t, "to", ask->wanted);
    sums_member(t, "with", ask->with);
    sums_member(t, "count", p->count);
    sums_member(t, "fraction", p->fraction);
    sums_member(t, "litres", p->litres);
    json_key(t, "after");
    json_open(t, '[');
    for (int i = 0; i < p->count; i++)
        json_number(t, p->after[i], -1);
    json_close(t, ']');
    json_close(t, '}');
}

/* Tap water in what goes in. */
static void print_caution(const struct site *site, int tank)
{
    char buf[256];
    struct text caution = text_over(buf, sizeof buf);
    if (site->tanks[tank].water >= 0 && source_facts_caution(site, site->tanks[tank].water, &caution))
        sums_caution(buf, 2);
}

static void print_words(const struct site *site, const struct change_ask *ask, const struct change_plan *p)
{
    const struct quantity_info *q = quantity_info(ask->quantity);
    const struct tank *tank = &site->tanks[ask->tank];
    if (p->count == 0) {
        printf("tank %s is there already: %.4g %s\n", tank->name, ask->now, q->unit);
        return;
    }
    printf("tank %s, %s %.4g to %.4g %s with water of %.4g:\n", tank->name, q->title, ask->now, ask->wanted,
           q->unit, ask->with);
    printf("  %d change%s of %.1f L (%.0f %% of %.3g L)%s\n", p->count, p->count == 1 ? "" : "s", p->litres,
           p->fraction * 100.0, tank->volume_l, p->count == 1 ? "" : ", a day or more between them");
    for (int i = 0; i < p->count; i++)
        printf("  after %d: %.4g %s\n", i + 1, p->after[i], q->unit);
    if (p->held_by_step)
        printf("  the size is held by the animals' limit of %.4g %s in one step\n", p->step_limit, q->unit);
    printf("  bring the new water to the tank's temperature before\n");
    print_caution(site, ask->tank);
}

static int answer(const struct options *o, const struct site *site, bool json, const char *id,
                  struct change_ask *ask)
{
    struct change_plan plan;
    struct why why;
    char buf[4096];
    int code = sums_tank(o, site, id, &ask->tank);
    if (code == OPTIONS_GO_ON && isnan(ask->now))
        code = live_start(o, site, ask->tank, ask->quantity, &ask->now);
    if (code != OPTIONS_GO_ON)
        return code;
    fill_from_water(site, ask);
    if (isnan(ask->wanted) || isnan(ask->with))
        return options_fail(o, 2, "the tank's water has no target or drift for it: say --to and --with");
    enum status st = change_eval(site, ask, &plan, &why);
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

static int read_values(const struct options *o, const struct change_request *r, struct change_ask *ask)
{
    int code = sums_quantity(o, r->quantity, &ask->quantity);
    if (code != OPTIONS_GO_ON)
        return code;
    enum unit_kind kind = quantity_info(ask->quantity)->kind;
    const struct sums_value values[] = {
        { "now", r->now, kind, "", &ask->now },
        { "to", r->to, kind, "", &ask->wanted },
        { "with", r->with, kind, "", &ask->with },
        { "most", r->most, UNIT_RATIO, "1", &ask->most },
    };
    return sums_values(o, values, sizeof values / sizeof *values);
}

int change_main(int argc, char **argv)
{
    struct change_request r = { .conf = SUMS_CONF, .quantity = "ec" };
    const struct option items[] = {
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &r.conf, 0, 0 },
        { "now", "VALUE", "in the tank, such as 310 or 0.31mS/cm (what the service says now)", OPTION_TEXT,
          &r.now, 0, 0 },
        { "to", "VALUE", "to be reached (edge of the drift of the tank's water)", OPTION_TEXT, &r.to, 0, 0 },
        { "with", "VALUE", "of the change water (target of the tank's water)", OPTION_TEXT, &r.with, 0, 0 },
        { "quantity", "NAME", "which value it is (ec)", OPTION_TEXT, &r.quantity, 0, 0 },
        { "most", "SHARE", "largest share of one change (30%)", OPTION_TEXT, &r.most, 0, 0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = {
        "change",
        "TANK",
        "Water changes that bring a tank to a value within its animals' limit of one step.",
        items,
        sizeof items / sizeof *items,
        "  lentic change a1\n  lentic change a1 --now 310\n  lentic change a1 --quantity gh --now 9 --to 6 "
        "--with 4"
    };
    const char *id;
    double nan = (double)NAN;
    struct change_ask ask = { .now = nan, .wanted = nan, .with = nan, .most = CHANGE_MOST_DEFAULT };
    struct site *site = NULL;
    int code = sums_read(&o, argc, argv, &id);
    if (code == OPTIONS_GO_ON)
        code = read_values(&o, &r, &ask);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, r.conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = answer(&o, site, r.json, id, &ask);
    site_free(site);
    return code;
}
