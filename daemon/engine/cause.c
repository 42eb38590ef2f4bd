/* One cause, one message: which alert leads. What it says is in cause_words.c. */
#include "engine/state.h"

static enum alert_family family_of(const struct alert_slot *slot)
{
    return kind_family(slot->kind, slot->quantity);
}

static bool leads(const struct engine *e, int slot)
{
    const struct alarm *alarm = &e->alarms.items[slot];
    return alarm->pub.active && alarm->pub.marks == 0 && alarm->told && alarm->pub.leader < 0;
}

/* What ended lately still speaks for its echo: water on its way back moves fast and has swung, and what stood
 * under it ends a while later. */
#define ECHO_MS  (30 * MS_PER_HOUR)
#define AFTER_MS (2 * MS_PER_HOUR)

static bool is_echo_of(const struct engine *e, int leader, int slot, utc_t now)
{
    const struct alarm *ended = &e->alarms.items[leader], *mine = &e->alarms.items[slot];
    enum alert_kind kind = e->site->alerts[slot].kind;
    if (ended->pub.active || ended->pub.marks != 0 || !utc_is_set(ended->pub.raised_at) ||
        ended->pub.leader >= 0)
        return false;
    bool stood = mine->pub.base != ALERT_NORM && mine->pub.raised_at.ms <= ended->pub.since.ms;
    return utc_within(ended->pub.since, now,
                      kind == KIND_SWING || kind == KIND_FAST ? ECHO_MS
                      : stood                                 ? AFTER_MS
                                                              : -1);
}

static bool is_symptom(const struct engine *e, int slot)
{
    return kind_info(e->site->alerts[slot].kind)->symptom;
}

static int ended_at(const struct engine *e, int place, int slot, utc_t now)
{
    for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++)
        if (i != slot && family_of(&e->site->alerts[i]) == FAMILY_HEAT && !is_symptom(e, i) &&
            is_echo_of(e, i, slot, now))
            return i;
    return -1;
}

static enum priority priority_of(const struct engine *e, int slot)
{
    return e->site->alerts[slot].settings.priority;
}

/* A cause rather than a symptom, else the earlier. */
static bool leads_before(const struct engine *e, int a, int b)
{
    if (is_symptom(e, a) != is_symptom(e, b))
        return is_symptom(e, b);
    return e->alarms.items[a].pub.raised_at.ms < e->alarms.items[b].pub.raised_at.ms;
}

/* The standing leader of the same family at a place; slot itself does not count. A symptom does not lead a
 * cause, nor what is less grave what is more. */
static int leader_at(const struct engine *e, int place, enum alert_family family, int slot, utc_t now)
{
    int best = -1;
    if (place < 0)
        return -1;
    for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++) {
        if (i == slot || family_of(&e->site->alerts[i]) != family || !leads(e, i))
            continue;
        if ((is_symptom(e, i) && !is_symptom(e, slot)) || priority_of(e, i) < priority_of(e, slot))
            continue;
        if (best < 0 || leads_before(e, i, best))
            best = i;
    }
    return best >= 0 || family != FAMILY_HEAT ? best : ended_at(e, place, slot, now);
}

/* Together: within this of each other. One that follows later is news of its own. */
#define TOGETHER_MS (5 * MS_PER_MIN)

static bool fell_silent_together(const struct engine *e, int a, int b)
{
    int64_t apart = e->streams[a].fresh_at.ms - e->streams[b].fresh_at.ms;
    return apart >= -TOGETHER_MS && apart <= TOGETHER_MS;
}

/* Probes of one make, or of one place, that fall silent together: the first speaks for the others. */
static int silent_leader(const struct engine *e, int slot)
{
    const struct alert_slot *mine = &e->site->alerts[slot];
    int stream = site_stream_of(e->site, mine->place, mine->quantity);
    int refused = slot_find(e->site, mine->place, KIND_REFUSED, mine->quantity);
    if (refused >= 0 && leads(e, refused)) /* it talks, but cannot be understood */
        return refused;
    for (int i = 0; i < e->site->alert_count; i++) {
        const struct alert_slot *other = &e->site->alerts[i];
        if (i == slot || other->kind != KIND_SILENT || !leads(e, i))
            continue;
        int s = site_stream_of(e->site, other->place, other->quantity);
        if (s < 0 || !fell_silent_together(e, s, stream))
            continue;
        if (e->site->streams[s].entry == e->site->streams[stream].entry || other->place == mine->place)
            return i;
    }
    return -1;
}

/* What a service window leaves behind has one cause, the work: the first that is told speaks for the rest. */
static int service_leader(const struct engine *e, int slot)
{
    int place = e->site->alerts[slot].place, tank = e->site->places[place].tank;
    if (tank < 0 || !e->tanks[tank].service_ends)
        return -1;
    for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++)
        if (i != slot && leads(e, i) &&
            e->alarms.items[i].pub.raised_at.ms == e->tanks[tank].service_until.ms)
            return i;
    return -1;
}

/* Before a batch is known for one: tanks of one water whose solids move together have one cause. */
#define SAME_WORK_MS (3 * MS_PER_HOUR)

static bool moved_together(const struct engine *e, int slot, int other)
{
    const struct alert_slot *mine = &e->site->alerts[slot];
    int stream = speaking_stream(e, mine->place, mine->quantity);
    return stream >= 0 && utc_is_set(e->streams[stream].value_t) &&
           utc_within(e->alarms.items[other].pub.raised_at, e->streams[stream].value_t, SAME_WORK_MS);
}

/* Of another tank of the same water. */
static int mate_that_leads(const struct engine *e, int slot, int tank, enum alert_kind kind)
{
    const struct site *site = e->site;
    enum quantity q = site->alerts[slot].quantity;
    bool by_work = kind == KIND_FAST || kind == KIND_SWING;
    if (site->tanks[tank].water < 0)
        return -1;
    for (int i = 0; i < site->tank_count; i++) {
        int other = slot_find(site, site->tanks[i].place, kind, q);
        if (i != tank && other >= 0 && site->tanks[i].water == site->tanks[tank].water && leads(e, other) &&
            (!by_work || moved_together(e, slot, other)))
            return other;
    }
    return -1;
}

/* A batch speaks for what it did to its tanks, and one reservoir that ran empty, or was filled with tap
 * water, for all tanks of that water. */
static int solids_leader(const struct engine *e, int slot, int tank)
{
    const struct alert_slot *mine = &e->site->alerts[slot];
    int batch = is_symptom(e, slot) ? batch_of(e, tank) : -1;
    if (batch >= 0 && leads(e, batch))
        return batch;
    if (mine->kind == KIND_TOPOFF_STOPPED || mine->kind == KIND_TOPOFF_MINERALS)
        return mate_that_leads(e, slot, tank, mine->kind);
    if (mine->kind != KIND_FAST && mine->kind != KIND_SWING)
        return -1;
    int mate = mate_that_leads(e, slot, tank, KIND_FAST);
    return mate >= 0 ? mate : mate_that_leads(e, slot, tank, KIND_SWING);
}

static int leader_above(const struct engine *e, int slot, int tank, utc_t now)
{
    const struct tank *t = &e->site->tanks[tank];
    const int above[] = { t->circuit, t->rack, e->site->room_place };
    for (unsigned i = 0; i < sizeof above / sizeof *above; i++) {
        int leader = leader_at(e, above[i], FAMILY_HEAT, slot, now);
        if (leader >= 0)
            return leader;
    }
    return -1;
}

static int leader_of_family(const struct engine *e, int slot, utc_t now)
{
    enum alert_family family = family_of(&e->site->alerts[slot]);
    if (family == FAMILY_OTHER)
        return -1;
    if (family == FAMILY_PROBE)
        return silent_leader(e, slot);
    int tank = e->site->places[e->site->alerts[slot].place].tank;
    int above = tank < 0                  ? -1
                : family == FAMILY_SOLIDS ? solids_leader(e, slot, tank)
                : family == FAMILY_HEAT   ? leader_above(e, slot, tank, now)
                                          : -1;
    return above >= 0 ? above : leader_at(e, e->site->alerts[slot].place, family, slot, now);
}

/* --- a limit that is passed because of what has been told --- */

#define HAND_COUNTS_MS (7 * MS_PER_DAY)
#define ACID           0.05 /* by which pH has crept down, beyond what a probe errs from day to day */

/* What the value would be by the last hand test, if the probe still errs as it did then; NaN: none within a
 * week. */
static double by_hand(const struct engine *e, int slot, utc_t now)
{
    const struct alert_slot *mine = &e->site->alerts[slot];
    int tank = e->site->places[mine->place].tank;
    const struct hand_test *test = hand_last(e, tank, mine->quantity);
    struct against a;
    if (test == NULL || !utc_within(test->t, now, HAND_COUNTS_MS) ||
        !against_probe(e, tank, mine->quantity, test->value, test->sd, test->t, &a) ||
        a.reason == AGAINST_RECIPE)
        return NAN;
    return e->alarms.items[slot].pub.value + a.off;
}

/* What a probe that is doubted shows is its own fault: every leap, and a limit that hand tests do not see
 * passed. */
static bool is_the_probes(const struct engine *e, int slot, utc_t now)
{
    enum alert_kind kind = e->site->alerts[slot].kind;
    double limit = e->alarms.items[slot].pub.limit, v;
    if (kind == KIND_FAST || kind == KIND_SWING)
        return true;
    if (kind != KIND_LOW && kind != KIND_HIGH)
        return false;
    v = by_hand(e, slot, now);
    return kind == KIND_LOW ? v >= limit : v <= limit;
}

bool cause_sours(const struct engine *e, const struct alert_slot *slot)
{
    return slot->quantity == Q_PH && slot->kind != KIND_HIGH && slot->kind != KIND_FAST &&
           e->tanks[e->site->places[slot->place].tank].ph.down.rise > ACID;
}

/* Slot of the alert that stands and says why; -1: none. */
static int reason_of(const struct engine *e, int slot, utc_t now)
{
    const struct alert_slot *mine = &e->site->alerts[slot];
    int doubted = slot_find(e->site, mine->place, KIND_DRIFTING, mine->quantity);
    int waste = slot_find(e->site, mine->place, KIND_WASTE, Q_COUNT);
    if (doubted >= 0 && leads(e, doubted))
        return doubted;
    if (cause_sours(e, mine))
        return waste >= 0 && leads(e, waste) ? waste : -1;
    int leader = family_of(mine) == FAMILY_SOLIDS ? leader_at(e, mine->place, FAMILY_SOLIDS, slot, now) : -1;
    return leader >= 0 && !is_symptom(e, leader) ? leader : -1;
}

/* A limit is told once, however grave, while its cause stands; then again when it is worse, or days later. */
static int excuse_of(const struct engine *e, int slot, struct now now)
{
    const struct alert_slot *mine = &e->site->alerts[slot];
    const struct alert *pub = &e->alarms.items[slot].pub;
    int tank = e->site->places[mine->place].tank;
    if (tank < 0 || kind_info(mine->kind)->scope != SCOPE_TANK_LIMIT)
        return -1;
    int reason = reason_of(e, slot, now.utc);
    if (reason < 0)
        return -1;
    if (e->site->alerts[reason].kind == KIND_DRIFTING && is_the_probes(e, slot, now.utc))
        return reason;
    double beyond = fabs(pub->value - pub->limit), margin = fabs(mine->settings.deadband);
    return habit_told(&e->habits[slot], beyond, margin, now.mono) ? reason : -1;
}

int cause_leader(void *engine, int slot, struct now now)
{
    const struct engine *e = engine;
    const struct alert_slot *mine = &e->site->alerts[slot];
    int excuse = excuse_of(e, slot, now);
    int air = slot_find(e->site, mine->place, KIND_OUT_OF_WATER, Q_COUNT);
    if (air >= 0 && air != slot && mine->kind != KIND_LEAK && leads(e, air))
        return air; /* a probe in the air says nothing of the water, however grave it sounds */
    int noisy = slot_find(e->site, mine->place, KIND_NOISY, mine->quantity);
    if (noisy >= 0 && (mine->kind == KIND_FAST || mine->kind == KIND_SWING) && leads(e, noisy))
        return noisy; /* its leaps are the probe's; how low or high it is still counts */
    if (excuse >= 0)
        return excuse;
    int leader = service_leader(e, slot);
    if (leader < 0)
        leader = leader_of_family(e, slot, now.utc);
    /* One of higher priority takes the lead. */
    return leader >= 0 && priority_of(e, leader) < priority_of(e, slot) ? -1 : leader;
}
