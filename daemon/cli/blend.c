#include "adapters/clock.h"
#include "app/daybook.h"
#include "cli/calc.h"
#include "cli/read_diary.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "plan/source_facts.h"
#include "water/mixing.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

struct blend_request {
    const char *conf, *water, *quantity;
    const char *a, *b, *to, *litres;
    bool json;
};

struct blend_ask {
    enum quantity quantity;
    double a, b, to, litres;
    char caution[256]; /* "" none */
};

static bool is_name(const char *text)
{
    return text != NULL && isalpha((unsigned char)text[0]) != 0;
}

/* --- from the configuration --- */

static int value_of_source(const struct options *o, const struct site *site, const struct diary *diary,
                           const char *id, struct blend_ask *ask, double *value)
{
    struct source_water water;
    struct week_remark remarks[WEEK_REMARKS_MAX];
    int count = 0, source = site_source_find(site, id, strlen(id));
    const char *what = quantity_info(ask->quantity)->name;
    if (source < 0)
        return options_fail(o, 2, "there is no source \"%.40s\" in the configuration", id);
    source_facts_eval(site, source, diary, &water);
    const struct source_value *v = &water.values[ask->quantity];
    if (v->origin == ORIGIN_NONE)
        return options_fail(o, 1, "%s of %s is not known: lentic note source/%s test %s=..", what, id, id,
                            what);
    *value = v->value;
    source_facts_remarks(site, &water, remarks, &count);
    for (int i = 0; i < count; i++) {
        if (remarks[i].kind == WEEK_CAUTION && ask->caution[0] == '\0')
            (void)snprintf(ask->caution, sizeof ask->caution, "%s", remarks[i].text);
        else if (remarks[i].kind == WEEK_ASSUMED)
            (void)fprintf(stderr, "%s\n", remarks[i].text);
    }
    return OPTIONS_GO_ON;
}

static int target_of_water(const struct options *o, const struct site *site, const char *id,
                           struct blend_ask *ask)
{
    int water = 0;
    int code = sums_water(o, site, id, &water);
    if (code == OPTIONS_GO_ON)
        ask->to = site->waters[water].target[ask->quantity];
    if (code == OPTIONS_GO_ON && isnan(ask->to))
        code =
            options_fail(o, 2, "water %s has no %s target: say --to", id, quantity_info(ask->quantity)->name);
    return code;
}

static int read_site(const struct options *o, const struct site *site, const struct blend_request *r,
                     struct blend_ask *ask)
{
    struct diary diary;
    int code = OPTIONS_GO_ON;
    if (!daybook_make(&diary, site, clock_now().utc))
        code = options_fail(o, 2, "no memory");
    else
        (void)read_diary(site, &diary); /* nothing noted: told of the source */
    if (code == OPTIONS_GO_ON && is_name(r->a))
        code = value_of_source(o, site, &diary, r->a, ask, &ask->a);
    if (code == OPTIONS_GO_ON && is_name(r->b))
        code = value_of_source(o, site, &diary, r->b, ask, &ask->b);
    if (code == OPTIONS_GO_ON && r->water != NULL && r->to == NULL)
        code = target_of_water(o, site, r->water, ask);
    daybook_free(&diary);
    return code;
}

/* The configuration is read only when something of it is asked for. */
static int read_named(const struct options *o, const struct blend_request *r, struct blend_ask *ask)
{
    struct site *site = NULL;
    if (!is_name(r->a) && !is_name(r->b) && (r->water == NULL || r->to != NULL))
        return OPTIONS_GO_ON;
    int code = sums_site(o, r->conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = read_site(o, site, r, ask);
    site_free(site);
    return code;
}

/* --- the answer --- */

static int print_answer(const struct blend_request *r, const struct blend_ask *ask, double a_l, double b_l)
{
    char buf[1024];
    const char *unit = quantity_info(ask->quantity)->unit;
    if (!r->json) {
        printf("%.2f L of %s (%.4g %s) and %.2f L of %s (%.4g %s) make %.3g L of %.4g %s\n", a_l,
               is_name(r->a) ? r->a : "a", ask->a, unit, b_l, is_name(r->b) ? r->b : "b", ask->b, unit,
               ask->litres, ask->to, unit);
        if (ask->caution[0] != '\0')
            sums_caution(ask->caution, 0);
        return 0;
    }
    struct text t = text_over(buf, sizeof buf);
    json_open(&t, '{');
    sums_member(&t, "a", a_l);
    sums_member(&t, "b", b_l);
    sums_member(&t, "to", ask->to);
    json_key(&t, "caution");
    if (ask->caution[0] != '\0')
        json_string(&t, ask->caution);
    else
        json_null(&t);
    json_close(&t, '}');
    return sums_print_json(&t);
}

static int read_numbers(const struct options *o, const struct blend_request *r, struct blend_ask *ask)
{
    const struct quantity_info *info = quantity_info(ask->quantity);
    const struct sums_value values[] = {
        { "a", is_name(r->a) ? NULL : r->a, info->kind, info->unit, &ask->a },
        { "b", is_name(r->b) ? NULL : r->b, info->kind, info->unit, &ask->b },
        { "to", r->to, info->kind, info->unit, &ask->to },
        { "litres", r->litres, UNIT_VOLUME, "L", &ask->litres },
    };
    return sums_values(o, values, sizeof values / sizeof *values);
}

static int answer(const struct options *o, const struct blend_request *r, struct blend_ask *ask)
{
    double a_l, b_l;
    struct why why;
    int code = sums_quantity(o, r->quantity, &ask->quantity);
    if (code == OPTIONS_GO_ON)
        code = read_numbers(o, r, ask);
    if (code == OPTIONS_GO_ON)
        code = read_named(o, r, ask);
    if (code != OPTIONS_GO_ON)
        return code;
    if (r->a == NULL || r->b == NULL || isnan(ask->to))
        return options_fail(o, 2, "say both sources (--a, --b) and the target (--to or --water)");
    enum status st = mixing_blend(ask->a, ask->b, ask->to, ask->litres, &a_l, &b_l, &why);
    if (st != STATUS_OK)
        return sums_refuse(o, st, &why);
    return print_answer(r, ask, a_l, b_l);
}

int blend_main(int argc, char **argv)
{
    struct blend_request r = { .conf = SUMS_CONF, .quantity = "ec" };
    const struct option items[] = {
        { "a", "VALUE", "of one source, such as purified water; or its id: what was noted of it", OPTION_TEXT,
          &r.a, 0, 0 },
        { "b", "VALUE", "of the other, such as tap water; or its id", OPTION_TEXT, &r.b, 0, 0 },
        { "to", "VALUE", "wanted", OPTION_TEXT, &r.to, 0, 0 },
        { "water", "WATER", "take the target of this configured water", OPTION_TEXT, &r.water, 0, 0 },
        { "quantity", "NAME", "which value it is (ec): gh or kh where a test is at hand", OPTION_TEXT,
          &r.quantity, 0, 0 },
        { "litres", "L", "how much (10 L)", OPTION_TEXT, &r.litres, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF "), read for --water and ids only", OPTION_TEXT,
          &r.conf, 0, 0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = {
        "blend",
        NULL,
        "Litres of two waters that make a third. Tap water may carry chlorine: treat it first.",
        items,
        sizeof items / sizeof *items,
        "  lentic blend --a 8 --b 520 --to 190 --litres 40\n"
        "  lentic blend --a ro --b tap --quantity kh --water middling --litres 40"
    };
    double nan = (double)NAN;
    struct blend_ask ask = { .a = nan, .b = nan, .to = nan, .litres = 10.0 };
    int code = sums_read(&o, argc, argv, NULL);
    return code == OPTIONS_GO_ON ? answer(&o, &r, &ask) : code;
}
