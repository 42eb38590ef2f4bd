#include "adapters/clock.h"
#include "app/daybook.h"
#include "cli/read_diary.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "plan/source_facts.h"
#include "show/week_supply.h"

#include <math.h>
#include <stdio.h>

struct mix_request {
    const char *conf;
    const char *litres, *source_ec, *source_gh, *source_kh;
    bool json;
};

/* What is mixed, of what, with what to beware of. */
struct mix_made {
    struct mix_plan plan;
    struct mix_source base;
    char from[160], caution[256]; /* "" none */
};

static void put_base(const struct mix_made *m, struct text *t)
{
    json_key(t, "base");
    json_open(t, '{');
    sums_member(t, "ec", m->base.ec_us_cm);
    sums_member(t, "gh", m->base.gh_dh);
    sums_member(t, "kh", m->base.kh_dh);
    json_close(t, '}');
    json_key(t, "caution");
    if (m->caution[0] != '\0')
        json_string(t, m->caution);
    else
        json_null(t);
}

static void print_json(const struct site *site, int water, const struct mix_made *m, struct text *t)
{
    const struct mix_plan *p = &m->plan;
    json_open(t, '{');
    json_key(t, "water");
    json_string(t, site->waters[water].id);
    sums_member(t, "litres", p->volume_l);
    json_key(t, "salts");
    json_open(t, '[');
    for (int i = 0; i < p->count; i++) {
        json_open(t, '{');
        json_key(t, "salt");
        json_string(t, site->salts[p->parts[i].salt].id);
        sums_member(t, "grams", p->parts[i].grams);
        json_key(t, "short_of_stock");
        json_bool(t, p->parts[i].short_of_stock);
        json_close(t, '}');
    }
    json_close(t, ']');
    sums_member(t, "ec", p->ec_us_cm);
    sums_member(t, "ec_sd", p->ec_sd_us_cm);
    sums_member(t, "gh", p->gh_dh);
    sums_member(t, "kh", p->kh_dh);
    sums_member(t, "tds", p->tds_mg_l);
    put_base(m, t);
    json_close(t, '}');
}

static void print_base(const struct mix_made *m)
{
    if (m->from[0] != '\0')
        printf("  take %s\n", m->from);
    if (m->base.gh_dh > 0 || m->base.kh_dh > 0)
        printf("  that brings GH %.1f and KH %.1f along: taken off the grams\n", m->base.gh_dh,
               m->base.kh_dh);
    if (m->caution[0] != '\0')
        sums_caution(m->caution, 2);
}

/* Calcium and bicarbonate that meet in little water fall out as chalk. */
static bool makes_chalk(const struct site *site, const struct mix_plan *p)
{
    bool hard = false, alkaline = false;
    for (int i = 0; i < p->count; i++) {
        const struct salt *salt = &site->salts[p->parts[i].salt];
        hard = hard || salt->gh > 0;
        alkaline = alkaline || (salt->kh > 0 && !(salt->gh > 0));
    }
    return hard && alkaline;
}

static void print_words(const struct site *site, int water, const struct mix_made *m)
{
    const struct mix_plan *p = &m->plan;
    printf("%.3g L of %s:\n", p->volume_l, site->waters[water].name);
    print_base(m);
    for (int i = 0; i < p->count; i++) {
        const struct salt *salt = &site->salts[p->parts[i].salt];
        printf("  weigh %.*f g of %s\n", p->parts[i].grams < 10.0 ? 2 : 1, p->parts[i].grams, salt->name);
        if (p->parts[i].short_of_stock)
            printf("    (the cupboard holds %.4g g by the books)\n", salt->stock_g);
    }
    printf("  expect ");
    if (!isnan(p->ec_us_cm))
        printf("%.0f µS/cm (give or take %.0f), ", p->ec_us_cm, 2.0 * p->ec_sd_us_cm);
    printf("GH %.1f, KH %.1f\n", p->gh_dh, p->kh_dh);
    if (makes_chalk(site, p))
        printf("  one salt after the other, each in all of the water: hardness salts and\n"
               "  carbonates together in little water fall out as chalk\n");
    printf("  stir until dissolved; measure at 25 °C or let the meter compensate\n");
    if (p->ec_doubtful)
        printf("  note: the water's target is %.0f µS/cm: recipe and target do not belong together\n",
               p->ec_us_cm - p->ec_off);
}

/* A tank's id stands for its water. */
static int find_water(const struct options *o, const struct site *site, const char *id, int *water)
{
    for (int i = 0; i < site->tank_count; i++)
        if (strcmp(site->tanks[i].id, id) == 0 && site->tanks[i].water >= 0) {
            *water = site->tanks[i].water;
            return OPTIONS_GO_ON;
        }
    return sums_water(o, site, id, water);
}

/* Unless it was said: by the configuration and what was noted of the sources. */
static enum status find_base(const struct site *site, int water, double litres, struct mix_made *m,
                             struct why *why)
{
    struct diary diary;
    double no3;
    struct text from = text_over(m->from, sizeof m->from);
    enum status st = STATUS_IO;
    if (daybook_make(&diary, site, clock_now().utc)) {
        (void)read_diary(site, &diary); /* nothing noted: what is missing is told below */
        st = source_facts_base(site, water, &diary, &m->base, &no3, why);
    }
    daybook_free(&diary);
    if (!site_water_is_pure(site, water))
        week_supply_from(site, water, litres, &from);
    return st == STATUS_NONE ? STATUS_REFUSED : st;
}

static int answer(const struct options *o, const struct site *site, const struct mix_request *r,
                  const char *id, double litres, const struct mix_source *said)
{
    int water;
    struct mix_made m = { .base = *said };
    struct why why = { "no memory" };
    char buf[4096];
    struct text caution = text_over(m.caution, sizeof m.caution);
    int code = find_water(o, site, id, &water);
    if (code != OPTIONS_GO_ON)
        return code;
    bool is_said = r->source_ec != NULL || r->source_gh != NULL || r->source_kh != NULL;
    enum status st = is_said ? STATUS_OK : find_base(site, water, litres, &m, &why);
    if (st == STATUS_OK)
        st = mix_eval(site, water, litres, &m.base, &m.plan, &why);
    if (st != STATUS_OK)
        return sums_refuse(o, st, &why);
    (void)source_facts_caution(site, water, &caution);
    if (!r->json) {
        print_words(site, water, &m);
        return 0;
    }
    struct text t = text_over(buf, sizeof buf);
    print_json(site, water, &m, &t);
    return sums_print_json(&t);
}

int mix_main(int argc, char **argv)
{
    struct mix_request r = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &r.conf, 0, 0 },
        { "litres", "L", "how much (10 L), such as 60 or 15gal", OPTION_TEXT, &r.litres, 0, 0 },
        { "source-ec", "EC",
          "of the water it is made from (else by the configuration: its source or blend,\n"
          "as noted; purified: 0)",
          OPTION_TEXT, &r.source_ec, 0, 0 },
        { "source-gh", "GH", "general hardness of it (0)", OPTION_TEXT, &r.source_gh, 0, 0 },
        { "source-kh", "KH", "carbonate hardness of it (0)", OPTION_TEXT, &r.source_kh, 0, 0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = {
        "mix",
        "WATER",
        "Salts to weigh for a batch of a configured water (or of a tank's water). What tap or\n"
        "well water brings along is taken off, by the newest test noted of it.",
        items,
        sizeof items / sizeof *items,
        "  lentic mix soft --litres 60"
    };
    const char *id;
    int code = sums_read(&o, argc, argv, &id);
    double litres = 10.0;
    struct mix_source source = { 0.0, 0.0, 0.0, 0.0 };
    const struct sums_value values[] = {
        { "litres", r.litres, UNIT_VOLUME, "L", &litres },
        { "source-ec", r.source_ec, UNIT_EC, "uS/cm", &source.ec_us_cm },
        { "source-gh", r.source_gh, UNIT_GH, "°dH", &source.gh_dh },
        { "source-kh", r.source_kh, UNIT_KH, "°dH", &source.kh_dh },
    };
    if (code == OPTIONS_GO_ON)
        code = sums_values(&o, values, sizeof values / sizeof *values);
    struct site *site = NULL;
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, r.conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    sums_learnt(site);
    code = answer(&o, site, &r, id, litres, &source);
    site_free(site);
    return code;
}
