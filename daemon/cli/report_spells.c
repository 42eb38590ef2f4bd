#include "cli/report_spells.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct report_spell *last_spell(struct reporting *r, const char *ref)
{
    for (int i = r->page.spell_count - 1; i >= 0; i--)
        if (strcmp(r->page.spells[i].n.ref, ref) == 0)
            return &r->page.spells[i];
    return NULL;
}

static enum quantity axis_of(const struct alert_slot *slot)
{
    if (slot->quantity != Q_COUNT)
        return slot->quantity;
    switch (kind_family(slot->kind, Q_COUNT)) {
    case FAMILY_HEAT:
        return Q_TEMP;
    case FAMILY_SOLIDS:
        return Q_EC;
    default:
        return Q_COUNT;
    }
}

static struct report_spell *new_spell(struct reporting *r, const struct alert_row *row, const char *ref)
{
    struct report_spell *s = REPORTING_APPEND(r, spells, spell_count);
    if (s == NULL)
        return NULL;
    int slot = site_alert_find(r->site, ref, strlen(ref));
    s->place = site_place_find(r->site, row->place, strlen(row->place));
    s->axis = slot >= 0 ? axis_of(&r->site->alerts[slot]) : Q_COUNT;
    s->ended = s->n.due = s->n.until = UTC_NONE;
    s->n.raised = row->t;
    s->n.priority = priority_find(row->priority);
    snprintf(s->begun_with, sizeof s->begun_with, "%s", row->evidence);
    snprintf(s->n.ref, sizeof s->n.ref, "%s", ref);
    snprintf(s->n.place, sizeof s->n.place, "%s", row->place);
    alerts_title(r->site, ref, row->kind, s->n.title, sizeof s->n.title);
    if (slot >= 0)
        snprintf(s->n.consequence, sizeof s->n.consequence, "%s",
                 kind_info(r->site->alerts[slot].kind)->consequence);
    return s;
}

static void put_number(double v, const char *lead, const char *unit, struct text *out)
{
    if (!isnan(v))
        text_printf(out, "%s%.6g%s%s", lead, v, unit[0] != '\0' ? " " : "", unit);
}

static void take_words(struct report_spell *s, const struct alert_row *row)
{
    struct text number = text_over(s->n.number, sizeof s->n.number);
    put_number(row->value, "", row->unit, &number);
    put_number(row->limit, ", limit ", row->unit, &number);
    snprintf(s->n.cause, sizeof s->n.cause, "%s", row->cause);
    snprintf(s->n.evidence, sizeof s->n.evidence, "%s", row->evidence);
    snprintf(s->n.action, sizeof s->n.action, "%s", row->action);
}

static void drop_spell(struct reporting *r, struct report_spell *s)
{
    size_t behind = (size_t)(r->page.spells + r->page.spell_count - (s + 1));
    memmove(s, s + 1, behind * sizeof *s);
    r->page.spell_count--;
}

static bool is_one_of(const char *word, const char *const *list, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(word, list[i]) == 0)
            return true;
    return false;
}

void reporting_take_change(struct reporting *r, const struct alert_row *row)
{
    static const char *const active[] = { "UNACK", "ACKED" }, *const over[] = { "NORM", "RTNUN", "LATUN",
                                                                                "LATAK" };
    char ref[96];
    snprintf(ref, sizeof ref, "%s/%s", row->place, row->kind);
    struct report_spell *s = last_spell(r, ref);
    bool open = s != NULL && !utc_is_set(s->ended), is_active = is_one_of(row->state, active, 2);
    if (is_active && !open) {
        if (s != NULL && s->ended.ms < r->from.ms)
            drop_spell(r, s);
        if ((s = new_spell(r, row, ref)) == NULL)
            return;
        open = true;
    }
    if (s == NULL)
        return;
    if (is_active)
        take_words(s, row);
    s->sent = s->sent || (row->announced && is_active);
    snprintf(s->n.state, sizeof s->n.state, "%s", row->state);
    snprintf(s->n.who, sizeof s->n.who, "%s", row->who);
    snprintf(s->n.why, sizeof s->n.why, "%s", row->why);
    if (open && is_one_of(row->state, over, 4))
        s->ended = row->t;
    if (strcmp(row->state, "NORM") == 0 && s->ended.ms < r->from.ms)
        drop_spell(r, s);
}

/* The store does not name the leader of an alert that nobody was told of: it is the one of the same place and
 * cause that was told. */
static void name_leader(const struct reporting *r, const struct report_spell *s, struct notice *n)
{
    for (int i = 0; i < r->page.spell_count && !s->sent && n->cause[0] != '\0'; i++) {
        const struct report_spell *other = &r->page.spells[i];
        if (other->sent && other->place == s->place && notice_is_active(&other->n) &&
            strcmp(other->n.cause, n->cause) == 0)
            snprintf(n->leader, sizeof n->leader, "%s", other->n.ref);
    }
}

bool reporting_take_standing(struct reporting *r)
{
    r->page.standing = calloc((size_t)r->page.spell_count + 1, sizeof *r->page.standing);
    if (r->page.standing == NULL)
        return false;
    for (int i = 0; i < r->page.spell_count; i++) {
        const struct report_spell *s = &r->page.spells[i];
        if (strcmp(s->n.state, "NORM") == 0 || last_spell(r, s->n.ref) != s ||
            !reporting_is_asked(r, s->n.place))
            continue;
        struct notice *n = &r->page.standing[r->page.standing_count++];
        *n = s->n;
        name_leader(r, s, n);
    }
    notices_sort(r->page.standing, r->page.standing_count);
    for (int i = r->page.spell_count - 1; i >= 0; i--)
        if ((utc_is_set(r->page.spells[i].ended) && r->page.spells[i].ended.ms < r->from.ms) ||
            !reporting_is_asked(r, r->page.spells[i].n.place))
            drop_spell(r, &r->page.spells[i]);
    return true;
}
