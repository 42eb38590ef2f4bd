#include "model/learnt.h"

#include <math.h>
#include <string.h>

#define FACTOR_LEAST  0.3 /* mg/L per uS/cm: real mixes run from 0.42 to 0.91 */
#define FACTOR_MOST   1.2
#define PER_GRAM_MOST 5000.0

static void keep_salt(struct salt *s)
{
    if (s->configured.kept) {
        s->gh = s->configured.gh;
        s->kh = s->configured.kh;
        s->ec = s->configured.ec;
        s->tds = s->configured.tds;
    }
    s->configured = (struct salt_figures){ true, s->gh, s->kh, s->ec, s->tds };
}

void learnt_begin(struct site *site)
{
    for (int i = 0; i < site->salt_count; i++)
        keep_salt(&site->salts[i]);
    for (int i = 0; i < site->water_count; i++) {
        struct water *w = &site->waters[i];
        if (w->configured_kept)
            w->tds_per_ec = w->configured_tds_per_ec;
        w->configured_tds_per_ec = w->tds_per_ec;
        w->configured_kept = true;
    }
}

static double *salt_field(struct salt *s, const char *name)
{
    const struct {
        const char *name;
        double *field;
    } fields[] = { { "gh", &s->gh }, { "kh", &s->kh }, { "ec", &s->ec }, { "tds", &s->tds } };
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++)
        if (strcmp(fields[i].name, name) == 0)
            return fields[i].field;
    return NULL;
}

static bool set(double *field, double v, double lo, double hi)
{
    if (field == NULL || !(v >= lo && v <= hi))
        return false;
    *field = v;
    return true;
}

bool learnt_apply(struct site *site, const struct journal_entry *e)
{
    if (e->kind != JOURNAL_LEARNT || !journal_counts(e) || e->item_count != 1)
        return false;
    const struct journal_item *figure = &e->items[0];
    for (int i = 0; i < site->salt_count; i++)
        if (e->other[0] != '\0' && strcmp(site->salts[i].id, e->other) == 0)
            return set(salt_field(&site->salts[i], figure->name), figure->amount, 0, PER_GRAM_MOST);
    for (int i = 0; i < site->water_count; i++)
        if (e->other[0] == '\0' && strcmp(site->waters[i].id, e->water) == 0 &&
            strcmp(figure->name, "tds") == 0)
            return set(&site->waters[i].tds_per_ec, figure->amount, FACTOR_LEAST, FACTOR_MOST);
    return false;
}
