#include "cli/sums.h"
#include "base/nearest.h"
#include "cli/calc.h"
#include "adapters/store_journal.h"
#include "config/load.h"
#include "model/learnt.h"
#include "show/width.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EXIT_NO = 1, EXIT_USAGE = 2 };

#define IDS_MAX 256

int sums_read(const struct options *o, int argc, char **argv, const char **operand)
{
    const char **operands = calloc((size_t)argc + 1, sizeof *operands);
    int count = 0;
    if (operands == NULL)
        return options_fail(o, EXIT_USAGE, "no memory");
    int code = options_read(o, argc, argv, operands, &count);
    if (code == OPTIONS_GO_ON && operand != NULL && count != 1)
        code = options_fail(o, EXIT_USAGE, "give one %s; lentic %s --help tells more", o->operands, o->verb);
    if (code == OPTIONS_GO_ON && operand != NULL)
        *operand = operands[0];
    free(operands);
    return code;
}

int sums_site(const struct options *o, const char *conf, struct site **out)
{
    struct config_faults *faults = calloc(1, sizeof *faults);
    if (faults == NULL)
        return options_fail(o, EXIT_USAGE, "no memory");
    enum status st = config_load(conf, out, faults);
    for (int i = 0; st != STATUS_OK && i < faults->count; i++)
        if (!faults->items[i].warning)
            fprintf(stderr, "%s:%d: %s\n", faults->items[i].file, faults->items[i].line,
                    faults->items[i].text);
    free(faults);
    if (st != STATUS_OK)
        return options_fail(o, EXIT_USAGE,
                            "%s cannot be used; lentic check tells more, --conf names another file", conf);
    return OPTIONS_GO_ON;
}

int sums_values(const struct options *o, const struct sums_value *values, size_t count)
{
    struct why why;
    for (size_t i = 0; i < count; i++) {
        const struct sums_value *v = &values[i];
        if (v->text == NULL)
            continue;
        if (calc_parse(v->text, strlen(v->text), v->kind, v->unit, v->into, &why) != STATUS_OK)
            return options_fail(o, EXIT_USAGE, "%s: %s", v->name, why.text);
    }
    return OPTIONS_GO_ON;
}

static int unknown_id(const struct options *o, const char *what, const char *id, const char *const *ids,
                      size_t count)
{
    const char *near = nearest_of(id, ids, count);
    if (near != NULL)
        return options_fail(o, EXIT_USAGE, "there is no %s \"%.40s\"; did you mean \"%s\"?", what, id, near);
    return options_fail(o, EXIT_USAGE, "there is no %s \"%.40s\" in the configuration", what, id);
}

int sums_tank(const struct options *o, const struct site *site, const char *id, int *tank)
{
    const char *ids[IDS_MAX];
    size_t count = 0;
    for (int i = 0; i < site->tank_count; i++) {
        if (strcmp(site->tanks[i].id, id) == 0) {
            *tank = i;
            return OPTIONS_GO_ON;
        }
        if (count < IDS_MAX)
            ids[count++] = site->tanks[i].id;
    }
    return unknown_id(o, "tank", id, ids, count);
}

int sums_water(const struct options *o, const struct site *site, const char *id, int *water)
{
    const char *ids[IDS_MAX];
    size_t count = 0;
    for (int i = 0; i < site->water_count; i++) {
        if (strcmp(site->waters[i].id, id) == 0) {
            *water = i;
            return OPTIONS_GO_ON;
        }
        if (count < IDS_MAX)
            ids[count++] = site->waters[i].id;
    }
    return unknown_id(o, "water", id, ids, count);
}

static void take_learnt(void *context, const struct journal_entry *e)
{
    char buf[256];
    struct text words = text_over(buf, sizeof buf);
    if (!learnt_apply(context, e))
        return;
    journal_words(e, &words);
    (void)fprintf(stderr, "reckoned with entry %lld: %s\n", (long long)e->id, buf);
}

void sums_learnt(struct site *site)
{
    struct store_reader *reader;
    struct journal_query query = JOURNAL_QUERY_ALL;
    query.kind = JOURNAL_LEARNT;
    learnt_begin(site);
    if (site->store.path == NULL || store_reader_open(site->store.path, &reader, NULL) != STATUS_OK)
        return; /* no service ran here: nothing was learnt */
    if (store_reader_journal(reader, &query, take_learnt, site) != STATUS_OK)
        (void)fprintf(stderr, "learnt figures could not be read from the store\n");
    store_reader_close(reader);
}

int sums_quantity(const struct options *o, const char *name, enum quantity *q)
{
    *q = quantity_find(name, strlen(name));
    if (*q == Q_COUNT)
        return options_fail(o, EXIT_USAGE, "there is no quantity \"%.40s\"; such as ec, gh, kh, no3", name);
    return OPTIONS_GO_ON;
}

int sums_refuse(const struct options *o, enum status st, const struct why *why)
{
    return options_fail(o, st == STATUS_REFUSED ? EXIT_NO : EXIT_USAGE, "%s", why->text);
}

void sums_caution(const char *words, int indent)
{
    char buf[1024];
    struct text out = text_over(buf, sizeof buf);
    text_printf(&out, "%*sCAUTION, ", indent, "");
    width_wrap(&out, words, options_columns(), indent + 2, indent + 9);
    fputs(buf, stdout);
}

void sums_member(struct text *t, const char *key, double v)
{
    json_key(t, key);
    json_number(t, v, -1);
}

int sums_print_json(struct text *t)
{
    return puts(t->buf) < 0 || t->cut ? EXIT_USAGE : 0;
}
