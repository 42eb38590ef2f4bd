#include "model/journal_check.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/nearest.h"

#define AHEAD_MOST_MS (2 * MS_PER_MIN)
#define HEADS_MOST    100000.0
#define GRAMS_MOST    100000.0
#define LITRES_MOST   100000.0
#define NAMES_MAX     128

/* Half a step of what keepers use: drop tests of one degree a drop, colour cards, hand meters of 2 %. Our own
 * choice; a kit's own figure goes before. */
static const struct {
    double least, share;
} usual_sd[Q_COUNT] = {
    [Q_TEMP] = { 0.3, 0 },    [Q_EC] = { 4, 0.02 },    [Q_TDS] = { 3, 0.02 },    [Q_PH] = { 0.2, 0 },
    [Q_GH] = { 0.5, 0 },      [Q_KH] = { 0.5, 0 },     [Q_LEVEL] = { 2, 0 },     [Q_DO] = { 0.5, 0.05 },
    [Q_ORP] = { 15, 0 },      [Q_POWER] = { 1, 0.05 }, [Q_FLOW] = { 0.1, 0.1 },  [Q_LEAK] = { 0, 0 },
    [Q_NO2] = { 0.05, 0.25 }, [Q_NO3] = { 2.5, 0.25 }, [Q_TAN] = { 0.05, 0.25 }, [Q_PO4] = { 0.05, 0.25 },
    [Q_CA] = { 5, 0.05 },     [Q_MG] = { 5, 0.1 },     [Q_CL2] = { 0.05, 0.25 },
};

static const struct kit *find_kit(const struct site *site, const char *id)
{
    for (int i = 0; i < site->kit_count; i++)
        if (strcmp(site->kits[i].id, id) == 0)
            return &site->kits[i];
    return NULL;
}

double journal_sd(const struct site *site, const char *kit, enum quantity q, double value, bool *kit_known)
{
    const struct kit *known = find_kit(site, kit);
    bool says = known != NULL && !isnan(known->sd[q]);
    if (kit_known != NULL)
        *kit_known = says;
    return says ? known->sd[q] : fmax(usual_sd[q].least, usual_sd[q].share * fabs(value));
}

/* --- items --- */

static enum status check_value(const struct site *site, struct journal_entry *e, struct journal_item *item,
                               struct why *why)
{
    enum quantity q = quantity_find(item->name, strlen(item->name));
    if (q == Q_COUNT)
        return why_say(why, STATUS_INVALID, "there is no quantity \"%.40s\"", item->name);
    const struct quantity_info *info = quantity_info(q);
    if (!(item->amount >= info->hard_lo && item->amount <= info->hard_hi))
        return why_say(why, STATUS_INVALID, "%s of %g %s cannot be: %g to %g %s is possible", info->title,
                       item->amount, info->unit, info->hard_lo, info->hard_hi, info->unit);
    if (isnan(item->sd))
        item->sd = journal_sd(site, e->kit, q, item->amount, NULL);
    if (!(item->sd >= 0 && item->sd <= info->hard_hi - info->hard_lo))
        return why_say(why, STATUS_INVALID, "an uncertainty of %g %s makes no sense for %s", item->sd,
                       info->unit, info->title);
    return STATUS_OK;
}

static enum status check_salt(const struct site *site, const struct journal_item *item, struct why *why)
{
    const char *names[NAMES_MAX];
    size_t count = 0;
    for (int i = 0; i < site->salt_count && count < NAMES_MAX; i++)
        names[count++] = site->salts[i].id;
    for (size_t i = 0; i < count; i++)
        if (strcmp(names[i], item->name) == 0)
            return item->amount >= 0 && item->amount <= GRAMS_MOST
                       ? STATUS_OK
                       : why_say(why, STATUS_INVALID, "%g g of %s cannot be", item->amount, item->name);
    const char *near = nearest_of(item->name, names, count);
    return why_say(why, STATUS_INVALID, "there is no salt \"%.32s\" in the configuration%s%s%s", item->name,
                   near != NULL ? "; did you mean \"" : "", near != NULL ? near : "",
                   near != NULL ? "\"?" : "");
}

static enum status check_head(const struct journal_item *item, struct why *why)
{
    if (journal_head_find(item->name, strlen(item->name)) == HEADS_COUNT)
        return why_say(
            why, STATUS_INVALID,
            "animals are counted as adults, shrimplets, berried, born, dead, in, out; not \"%.32s\"",
            item->name);
    if (!(item->amount >= 0 && item->amount <= HEADS_MOST) || floor(item->amount) != item->amount)
        return why_say(why, STATUS_INVALID, "%s must be a whole number of animals, not %g", item->name,
                       item->amount);
    return STATUS_OK;
}

static bool role_fits(enum journal_kind kind, enum journal_role role)
{
    switch (role) {
    case JOURNAL_VALUE:
        return kind == JOURNAL_TEST || kind == JOURNAL_BATCH || kind == JOURNAL_CHANGE ||
               kind == JOURNAL_TOPOFF || kind == JOURNAL_CALIBRATION;
    case JOURNAL_SALT:
        return kind == JOURNAL_BATCH;
    case JOURNAL_HEAD:
        return kind == JOURNAL_ANIMALS;
    case JOURNAL_FIGURE:
        return kind == JOURNAL_LEARNT;
    case JOURNAL_ROLE_COUNT:
        break;
    }
    return false;
}

static enum status check_items(const struct site *site, struct journal_entry *e, struct why *why)
{
    for (int i = 0; i < e->item_count; i++) {
        struct journal_item *item = &e->items[i];
        enum status st = STATUS_OK;
        if (!role_fits(e->kind, item->role))
            return why_say(why, STATUS_INVALID, "a %s has no \"%s\": note that as %s",
                           journal_kind_name(e->kind), item->name,
                           item->role == JOURNAL_SALT   ? "a batch"
                           : item->role == JOURNAL_HEAD ? "animals"
                                                        : "a test");
        if (item->role == JOURNAL_VALUE)
            st = check_value(site, e, item, why);
        else if (item->role == JOURNAL_SALT)
            st = check_salt(site, item, why);
        else if (item->role == JOURNAL_HEAD)
            st = check_head(item, why);
        if (st != STATUS_OK)
            return st;
    }
    return STATUS_OK;
}

static int count_of(const struct journal_entry *e, enum journal_role role)
{
    int n = 0;
    for (int i = 0; i < e->item_count; i++)
        n += e->items[i].role == role;
    return n;
}

/* --- what each kind needs --- */

static const struct place *place_of(const struct site *site, const struct journal_entry *e)
{
    int place = e->place[0] == '\0' ? -1 : site_place_find(site, e->place, strlen(e->place));
    return place < 0 ? NULL : &site->places[place];
}

static bool water_is_known(const struct site *site, const char *id)
{
    for (int i = 0; i < site->water_count; i++)
        if (strcmp(site->waters[i].id, id) == 0)
            return true;
    return false;
}

static enum status need_tank(const struct place *place, const struct journal_entry *e, struct why *why)
{
    if (place == NULL || place->kind != PLACE_TANK)
        return why_say(why, STATUS_INVALID, "%s needs a tank, like \"tank\": \"a1\"",
                       e->kind == JOURNAL_ANIMALS   ? "a count of animals"
                       : e->kind == JOURNAL_FEEDING ? "a feeding"
                       : e->kind == JOURNAL_CHANGE  ? "a water change"
                                                    : "a top-off");
    return STATUS_OK;
}

static enum status check_test(const struct place *place, const struct journal_entry *e, struct why *why)
{
    if (count_of(e, JOURNAL_VALUE) == 0)
        return why_say(why, STATUS_INVALID, "a hand test needs \"quantity\" and \"value\", or \"values\"");
    if (place == NULL)
        return why_say(why, STATUS_INVALID, "a hand test needs a place, like \"tank\": \"a1\"");
    return STATUS_OK;
}

static enum status check_water(const struct site *site, const struct place *place,
                               const struct journal_entry *e, struct why *why)
{
    enum status st = need_tank(place, e, why);
    if (st != STATUS_OK)
        return st;
    double volume_l = site->tanks[place->tank].volume_l;
    if (e->litres > volume_l)
        return why_say(why, STATUS_INVALID, "%g L are more than tank %s holds (%g L): look at the litres",
                       e->litres, place->id, volume_l);
    return STATUS_OK;
}

static enum status check_batch(const struct site *site, const struct place *place, struct journal_entry *e,
                               struct why *why)
{
    if (e->water[0] == '\0' && place != NULL && place->kind == PLACE_WATER)
        snprintf(e->water, sizeof e->water, "%s", place->id);
    if (e->water[0] == '\0')
        return why_say(why, STATUS_INVALID, "a batch needs the \"water\" that it is, by its id");
    if (e->place[0] == '\0' && water_is_known(site, e->water))
        snprintf(e->place, sizeof e->place, "water/%s", e->water);
    if (count_of(e, JOURNAL_SALT) > 0 && !(e->litres > 0))
        return why_say(why, STATUS_INVALID, "a batch with salts needs its \"litres\"");
    return STATUS_OK;
}

static enum status check_kind(const struct site *site, const struct place *place, struct journal_entry *e,
                              struct why *why)
{
    switch (e->kind) {
    case JOURNAL_TEST:
        return check_test(place, e, why);
    case JOURNAL_CHANGE:
    case JOURNAL_TOPOFF:
        return check_water(site, place, e, why);
    case JOURNAL_BATCH:
        return check_batch(site, place, e, why);
    case JOURNAL_FEEDING:
        return need_tank(place, e, why);
    case JOURNAL_ANIMALS:
        if (count_of(e, JOURNAL_HEAD) == 0)
            return why_say(
                why, STATUS_INVALID,
                "say how many: \"counts\": {\"adults\": 40, \"berried\": 3}, or born, dead, in, out");
        return need_tank(place, e, why);
    case JOURNAL_REMARK:
        return e->text[0] != '\0' ? STATUS_OK : why_say(why, STATUS_INVALID, "a remark needs its \"text\"");
    case JOURNAL_LEARNT:
        return count_of(e, JOURNAL_FIGURE) == 1 && (e->water[0] != '\0' || e->other[0] != '\0')
                   ? STATUS_OK
                   : why_say(why, STATUS_INVALID,
                             "a learnt figure needs a \"salt\" or a \"water\", and the "
                             "one figure in \"figures\"");
    case JOURNAL_CLEANING:
    case JOURNAL_CALIBRATION:
    case JOURNAL_EXCHANGE:
    case JOURNAL_KIND_COUNT:
        break;
    }
    return STATUS_OK;
}

static enum status check_range(const char *name, double v, double most, struct why *why)
{
    if (isnan(v) || (v >= 0 && v <= most))
        return STATUS_OK;
    return why_say(why, STATUS_INVALID, "\"%s\" must be 0 to %g, not %g", name, most, v);
}

static enum status check_common(const struct site *site, const struct journal_entry *e, utc_t now,
                                struct why *why)
{
    if (e->kind >= JOURNAL_KIND_COUNT)
        return why_say(why, STATUS_INVALID,
                       "a note needs \"what\": test change topoff batch feeding animals cleaning remark");
    if (utc_is_set(now) && utc_is_set(e->at) && e->at.ms > now.ms + AHEAD_MOST_MS)
        return why_say(why, STATUS_REFUSED, "that lies in the future: look at \"at\"");
    if (e->water[0] != '\0' && !water_is_known(site, e->water))
        return why_say(why, STATUS_INVALID, "there is no water \"%.32s\" in the configuration", e->water);
    if (e->batch < 0)
        return why_say(why, STATUS_INVALID, "\"batch\" is the number of a batch's entry");
    return STATUS_OK;
}

enum status journal_check(const struct site *site, struct journal_entry *e, utc_t now, struct why *why)
{
    enum status st = check_common(site, e, now, why);
    const struct place *place = place_of(site, e);
    if (st == STATUS_OK && place == NULL && e->place[0] != '\0')
        st = why_say(why, STATUS_INVALID, "there is no place \"%.48s\"", e->place);
    if (st == STATUS_OK)
        st = check_range("litres", e->litres, LITRES_MOST, why);
    if (st == STATUS_OK)
        st = check_range("grams", e->grams, GRAMS_MOST, why);
    if (st == STATUS_OK)
        st = check_items(site, e, why);
    return st != STATUS_OK ? st : check_kind(site, place, e, why);
}

/* --- corrections --- */

static void keep(char *now, size_t cap, const char *old)
{
    if (now[0] == '\0')
        snprintf(now, cap, "%s", old);
}

enum status journal_amend(struct journal_entry *e, const struct journal_entry *old, struct why *why)
{
    if (!journal_counts(old) && old->superseded_by != e->id)
        return why_say(why, STATUS_REFUSED, "entry %lld counts no longer: %s", (long long)old->id,
                       utc_is_set(old->withdrawn) ? "it was withdrawn" : "it was corrected already");
    if (e->kind != JOURNAL_KIND_COUNT && e->kind != old->kind)
        return why_say(why, STATUS_REFUSED,
                       "entry %lld is a %s, not a %s: withdraw it, and note the other anew",
                       (long long)old->id, journal_kind_name(old->kind), journal_kind_name(e->kind));
    struct journal_entry made = *old;
    made.id = e->id;
    made.corrects = old->id;
    made.superseded_by = 0;
    made.written = e->written;
    made.at = utc_is_set(e->at) ? e->at : old->at;
    made.batch = e->batch != 0 ? e->batch : old->batch;
    made.litres = isnan(e->litres) ? old->litres : e->litres;
    made.grams = isnan(e->grams) ? old->grams : e->grams;
    for (int i = 0; i < made.item_count && e->kit[0] != '\0'; i++)
        made.items[i].sd = NAN; /* another kit, another uncertainty */
#define KEEP(field)                                                                                          \
    keep(e->field, sizeof e->field, old->field);                                                             \
    memcpy(made.field, e->field, sizeof made.field)
    KEEP(place);
    KEEP(water);
    KEEP(kit);
    KEEP(lot);
    KEEP(other);
    KEEP(who);
    KEEP(text);
#undef KEEP
    for (int i = 0; i < e->item_count; i++)
        if (journal_put(&made, e->items[i].role, e->items[i].name, e->items[i].amount, e->items[i].sd) !=
            STATUS_OK)
            return why_say(why, STATUS_INVALID, "an entry holds %d figures at most", JOURNAL_ITEMS_MAX);
    *e = made;
    return STATUS_OK;
}
