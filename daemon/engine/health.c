/* What the probes themselves show: silent, stuck, noisy, refused. Never hides a reading from a limit rule. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STALE_LEAST_MS      (15 * MS_PER_MIN)
#define STALE_MOST_MS       (6 * MS_PER_HOUR)
#define REFUSED_RUN         5 /* unreadable payloads in a row before anyone is told */
#define FLAT_LEAST_MS       (2 * MS_PER_HOUR)
#define FLAT_LEAST_EARLY_MS (6 * MS_PER_HOUR) /* until so much of the probe is known: */
#define COARSE_SHARE        0.01 /* of the value, that a probe counts by: more than the water moves in a day */
#define NEARLY_PURE         20.0 /* uS/cm, mg/L */
#define FLAT_KNOWN_MS       (3 * MS_PER_DAY)
#define LEAP_NOISES         4   /* of a cheap probe's noise, from one reading to the next */
#define NOISE_TIMES         4.0 /* the usual */
#define NOISE_CALM          2.0
#define NOISE_GAP_S         3600.0
#define BATTERY_DEADBAND    0.15 /* of the limit */
#define ODD_WINDOW          64   /* usable readings over which odd ones are counted */
#define ODD_LEAST           30
#define ODD_SHARE_NOISY     0.15
#define ODD_SHARE_CALM      0.05

struct patience {
    int32_t times; /* as long as ever before */
    int64_t least_ms;
};

static const struct patience PATIENCE_USUAL = { 3, FLAT_LEAST_MS };
static const struct patience PATIENCE_COARSE = { 6, FLAT_LEAST_EARLY_MS };
static const struct patience PATIENCE_PURE = { 10, MS_PER_DAY };

static int compare_float(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

double health_cadence_s(const struct engine *e, int stream)
{
    const struct stream_state *s = &e->streams[stream];
    double every_s = site_stream_value(e->site, stream)->every_s;
    if (!isnan(every_s) || s->step_count < 3)
        return every_s;
    float sorted[CADENCE_STEPS];
    memcpy(sorted, s->steps_s, (size_t)s->step_count * sizeof *sorted);
    qsort(sorted, (size_t)s->step_count, sizeof *sorted, compare_float);
    return (double)sorted[s->step_count / 2];
}

static double longest_step_s(const struct stream_state *s)
{
    double longest = 0;
    for (int i = 0; i < s->step_count; i++)
        longest = fmax(longest, (double)s->steps_s[i]);
    return longest;
}

int64_t health_stale_ms(const struct engine *e, int stream)
{
    const struct probe_value *value = site_stream_value(e->site, stream);
    if (!isnan(value->stale_s))
        return (int64_t)llround(value->stale_s * 1000);
    double cadence_s = health_cadence_s(e, stream);
    double stale_ms = isnan(cadence_s) ? 0 : 5e3 * cadence_s;
    if (isnan(value->every_s))
        stale_ms = fmax(stale_ms, 2e3 * longest_step_s(&e->streams[stream]));
    if (value->on_change)
        return STALE_MOST_MS;
    return (int64_t)fmin(fmax(stale_ms, (double)STALE_LEAST_MS), (double)STALE_MOST_MS);
}

/* --- silence --- */

/* A topic that never came is taken as not fitted at this place when one of its quantities comes to the place
 * from another topic: one pattern may name more tanks than carry that make of probe. */
static bool not_fitted(const struct engine *e, int stream)
{
    const struct stream *s = &e->site->streams[stream];
    const struct probe_entry *entry = &e->site->entries[s->entry];
    int row = stream - s->value;
    if (entry->tanks_named)
        return false;
    for (int v = 0; v < entry->value_count; v++) {
        int first = row + v;
        if (e->streams[first].seen)
            return false;
        for (int t = e->site->streams[first].twin; t >= 0 && t != first; t = e->site->streams[t].twin)
            if (e->streams[t].seen && e->site->streams[t].entry != s->entry)
                return true;
    }
    return false;
}

static enum tri silence_of(const struct engine *e, int place, enum quantity q, int *example)
{
    int first = site_stream_of(e->site, place, q), s = first;
    bool any_live = false, any_silent = false;
    do {
        const struct stream_state *st = &e->streams[s];
        if (st->silent && (st->seen || !not_fitted(e, s))) {
            any_silent = true;
            *example = s;
        } else if (st->seen && !st->silent) {
            any_live = true;
        }
        s = e->site->streams[s].twin;
    } while (s >= 0 && s != first);
    if (any_silent)
        return TRI_YES;
    return any_live ? TRI_NO : TRI_KEEP;
}

static bool all_silent(const struct engine *e, int place, enum quantity q)
{
    int first = site_stream_of(e->site, place, q), s = first;
    do {
        if (!e->streams[s].silent)
            return false;
        s = e->site->streams[s].twin;
    } while (s >= 0 && s != first);
    return true;
}

static void judge_silence(struct engine *e, int place, enum quantity q, struct now now, struct effects *fx)
{
    int example = -1;
    enum tri condition = silence_of(e, place, q, &example);
    int slot = slot_find(e->site, place, KIND_SILENT, q);
    double minutes = NAN, limit = NAN;
    if (example >= 0) {
        minutes = (double)(now.mono.ms - e->streams[example].fresh_at.ms) / (double)MS_PER_MIN;
        limit = (double)health_stale_ms(e, example) / (double)MS_PER_MIN;
    }
    alarm_judge(&e->alarms, slot, condition, minutes, limit, now, fx);
}

void health_silent(struct engine *e, int stream, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    const struct stream *site = &e->site->streams[stream];
    mono_t due = mono_add(s->fresh_at, health_stale_ms(e, stream));
    if (due.ms > now.mono.ms || e->link_down) {
        if (!e->link_down)
            stream_timer_set(e, stream, STREAM_SILENT, due);
        return;
    }
    s->silent = true;
    if (all_silent(e, site->place, site->quantity))
        rules_freeze(e, site->place, site->quantity);
    judge_silence(e, site->place, site->quantity, now, fx);
    tank_changed(fx, now, e->site->places[site->place].tank);
}

void health_fresh(struct engine *e, int stream, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    const struct stream *site = &e->site->streams[stream];
    bool news = s->silent || !s->seen;
    s->fresh_at = now.mono;
    s->seen = true;
    s->silent = false;
    /* The timer is set once and looks at fresh_at when it comes due: no heap work per message. */
    if (news) {
        stream_timer_set(e, stream, STREAM_SILENT, mono_add(now.mono, health_stale_ms(e, stream)));
        judge_silence(e, site->place, site->quantity, now, fx);
    }
}

/* While the broker is away the silence of probes means nothing; when it is back they get their time anew. */
void health_link(struct engine *e, bool down, struct now now)
{
    for (int i = 0; i < e->site->stream_count; i++) {
        struct stream_state *s = &e->streams[i];
        if (s->silent)
            continue;
        if (!down)
            s->fresh_at = now.mono;
        stream_timer_set(e, i, STREAM_SILENT, down ? MONO_NEVER : mono_add(now.mono, health_stale_ms(e, i)));
    }
}

void health_renew(struct stream_state *s)
{
    s->flat_begin_ms = s->flat_end_ms = s->flat_longest_ms = s->flat_known_ms = s->flat_ended_ms = 0;
    s->flat_value = NAN;
    s->sent_since_ms = 0;
    s->sent_step = 0;
    s->odd_count = s->odd_of = 0;
    noise_init(&s->noise);
    s->step_count = s->step_at = 0;
}

/* --- what arrives --- */

static void note_step(struct stream_state *s, utc_t t)
{
    if (s->received > 1 && utc_is_set(s->last.t) && s->last.t.ms > 0 && t.ms > s->last.t.ms) {
        s->steps_s[s->step_at] = (float)((double)(t.ms - s->last.t.ms) / 1000.0);
        s->step_at = (s->step_at + 1) % CADENCE_STEPS;
        if (s->step_count < CADENCE_STEPS)
            s->step_count++;
    }
}

static void judge_refused(struct engine *e, int stream, enum sample_kind kind, struct now now,
                          struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    const struct stream *site = &e->site->streams[stream];
    int slot = slot_find(e->site, site->place, KIND_REFUSED, site->quantity);
    bool told = kind == SAMPLE_UNIT || s->bad_run >= REFUSED_RUN;
    if (s->bad_run == 0 || told)
        alarm_judge(&e->alarms, slot, told ? TRI_YES : TRI_NO, (double)s->bad_run, NAN, now, fx);
}

static void note_last(struct stream_state *s, const struct sample *sample)
{
    snprintf(s->last_reason, sizeof s->last_reason, "%s", sample->reason == NULL ? "" : sample->reason);
    snprintf(s->last_sample, sizeof s->last_sample, "%s", sample->shown);
}

void health_rejected(struct engine *e, const struct sample *sample)
{
    struct stream_state *s = &e->streams[sample->stream];
    s->rejected++;
    e->counts.rejected++;
    if (sample->kind == SAMPLE_UNIT)
        e->counts.wrong_unit++;
    else
        e->counts.unreadable++;
    note_last(s, sample);
}

/* --- what devices tell of themselves --- */

static void judge_battery(struct engine *e, int stream, struct now now, struct effects *fx)
{
    const struct stream *site = &e->site->streams[stream];
    const struct probe_entry *entry = site_stream_entry(e->site, stream);
    const struct stream_state *s = &e->streams[stream];
    int slot = slot_find(e->site, site->place, KIND_BATTERY, site->quantity);
    if (slot < 0 || isnan(entry->battery_low))
        return;
    struct alert *pub = &e->alarms.items[slot].pub;
    enum tri condition =
        alarm_compare(s->battery, entry->battery_low, BATTERY_DEADBAND * entry->battery_low, false);
    if (condition == TRI_YES)
        snprintf(pub->evidence, sizeof pub->evidence, "the battery of %s is at %.10g %s, low below %.10g %s",
                 s->fitting.device[0] != '\0' ? s->fitting.device : site->name, s->battery,
                 entry->battery_unit, entry->battery_low, entry->battery_unit);
    alarm_judge(&e->alarms, slot, condition, s->battery, entry->battery_low, now, fx);
}

void health_device(struct engine *e, const struct sample *sample, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[sample->stream];
    if (sample->kind == SAMPLE_ABSENT && sample->reason != NULL) {
        s->absent++;
        e->counts.absent++;
        note_last(s, sample);
    }
    if (!isnan(sample->link))
        s->link = sample->link;
    if (isnan(sample->battery))
        return;
    s->battery = sample->battery;
    judge_battery(e, sample->stream, now, fx);
}

/* --- share of good readings --- */

static struct share_hour *hour_of(struct stream_state *s, struct now now)
{
    int32_t hour = (int32_t)(now.utc.ms / MS_PER_HOUR);
    struct share_hour *h = &s->hours[(uint32_t)hour % SHARE_HOURS];
    if (h->hour != hour)
        *h = (struct share_hour){ .hour = hour };
    return h;
}

/* Good as far as is known on arrival; a spike verdict may take it back. */
static void count_share(struct stream_state *s, const struct reading *r, enum sample_kind kind,
                        struct now now)
{
    struct share_hour *h = hour_of(s, now);
    h->total++;
    h->good += kind == SAMPLE_VALUE && (r->flag == FLAG_GOOD || r->flag == FLAG_NOT_EVALUATED);
}

static void take_share_back(struct stream_state *s, const struct reading *r, struct now now)
{
    verdict_t before = verdict_set(r->tests, TEST_SPIKE, FLAG_NOT_EVALUATED);
    enum flag was = verdict_aggregate(before, false);
    struct share_hour *h = hour_of(s, now);
    if ((was == FLAG_GOOD || was == FLAG_NOT_EVALUATED) && r->flag != was && r->flag > FLAG_NOT_EVALUATED &&
        h->good > 0)
        h->good--;
}

double health_good_share(const struct engine *e, int stream, struct now now)
{
    const struct stream_state *s = &e->streams[stream];
    int32_t hour = (int32_t)(now.utc.ms / MS_PER_HOUR);
    uint64_t total = 0, good = 0;
    for (int i = 0; i < SHARE_HOURS; i++)
        if (s->hours[i].hour > hour - SHARE_HOURS && s->hours[i].hour <= hour) {
            total += s->hours[i].total;
            good += s->hours[i].good;
        }
    return total == 0 ? NAN : (double)good / (double)total;
}

void health_arrived(struct engine *e, int stream, const struct reading *r, enum sample_kind kind,
                    struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    int was = s->bad_run;
    count_share(s, r, kind, now);
    if (kind == SAMPLE_MISSING) {
        s->missing++;
        e->counts.missing++;
    } else if (kind == SAMPLE_VALUE) {
        s->bad_run = 0;
        if (gate_usable(r))
            note_step(s, r->t);
    } else {
        s->bad_run++;
    }
    if (s->bad_run != was)
        judge_refused(e, stream, kind, now, fx);
}

/* What is brought to 25 degrees, or through a slope, moves with the temperature although the probe itself
 * stands still: there the number counts that it sends. */
int64_t health_flat_since_ms(const struct engine *e, int stream)
{
    const struct stream_state *s = &e->streams[stream];
    bool judged = !isnan(s->gate.limits->flat_tol);
    return judged && derive_needs_temp(e, stream) ? s->sent_since_ms : s->gate.flat_since_ms;
}

static void note_sent(struct stream_state *s, const struct reading *r)
{
    double gap_s = (double)(r->t.ms - s->flat_end_ms) / 1000;
    double step = fabs(r->sent - s->sent);
    if (s->sent_since_ms != 0 && step > 0 && !(s->sent_step > 0 && s->sent_step <= step))
        s->sent_step = step;
    if (s->sent_since_ms == 0 || r->sent != s->sent || gap_s > s->gate.limits->gap_fail_s)
        s->sent_since_ms = r->t.ms;
    s->sent = r->sent;
}

/* Calm water seen in coarse steps stands as long as it likes: not stuck while it has stood nearly so before.
 */
static bool stood_so_before(const struct engine *e, int stream, const struct reading *r)
{
    int64_t run_ms = r->t.ms - health_flat_since_ms(e, stream);
    return run_ms < e->streams[stream].flat_longest_ms * 3 / 2;
}

/* How long a probe may stand beside how long it used to. Purified water has so little in it that a probe of
 * whole microsiemens shows one number for weeks; one that counts by fives shows a day's evaporation late. */
static struct patience patience_with(const struct engine *e, int stream, const struct reading *r)
{
    const struct stream_state *s = &e->streams[stream];
    enum quantity q = e->site->streams[stream].quantity;
    if (q != Q_EC && q != Q_TDS)
        return PATIENCE_USUAL;
    if (fabs(r->value) < NEARLY_PURE)
        return PATIENCE_PURE;
    return s->sent_step > COARSE_SHARE * fabs(r->sent) ? PATIENCE_COARSE : PATIENCE_USUAL;
}

static enum tri stuck(const struct engine *e, int stream, const struct reading *r)
{
    const struct gate_limits *limits = e->streams[stream].gate.limits;
    double sent_s = derive_needs_temp(e, stream) ? (double)(r->t.ms - e->streams[stream].sent_since_ms) / 1000
                                                 : (double)NAN;
    enum flag flat = verdict_get(r->tests, TEST_FLAT), thin = verdict_get(r->tests, TEST_ATTENUATED);
    bool patient = patience_with(e, stream, r).times > PATIENCE_USUAL.times;
    if (thin == FLAG_FAIL && !patient)
        return TRI_YES;
    if (flat == FLAG_FAIL || sent_s >= limits->flat_fail_s)
        return patient || stood_so_before(e, stream, r) ? TRI_KEEP : TRI_YES;
    return flat == FLAG_GOOD && !(sent_s >= limits->flat_suspect_s) ? TRI_NO : TRI_KEEP;
}

static void note_run(struct stream_state *s, int64_t run_ms)
{
    if (run_ms > s->flat_longest_ms)
        s->flat_longest_ms = run_ms;
}

/* A run that has ended shows how long the probe may stand; but one that ends with a leap was a probe that
 * hung. The gate, which begins the runs, may be a reading ahead: then the next one tells. */
static void note_stand(struct stream_state *s, const struct reading *r, int64_t begin_ms, double leap)
{
    if (!verdict_usable_for_limits(r->tests, r->flag == FLAG_MISSING))
        return; /* a single odd value is neither */
    bool leapt = fabs(r->value - s->flat_value) > leap;
    if (!leapt)
        note_run(s, s->flat_ended_ms);
    s->flat_ended_ms = 0;
    if (s->flat_begin_ms != begin_ms) {
        bool lasted = s->flat_begin_ms != 0 && s->flat_end_ms > s->flat_begin_ms;
        int64_t run_ms = lasted ? s->flat_end_ms - s->flat_begin_ms : 0;
        if (r->t.ms < begin_ms)
            s->flat_ended_ms = run_ms;
        else if (!leapt)
            note_run(s, run_ms);
        s->flat_begin_ms = begin_ms;
        if (s->flat_known_ms == 0)
            s->flat_known_ms = begin_ms;
    }
    s->flat_end_ms = r->t.ms;
    s->flat_value = r->value;
}

/* A line flat for several times as long as this probe ever was before, once a day of it is known. */
static bool stands_too_long(const struct stream_state *s, const struct reading *r, int64_t begin_ms,
                            struct patience patience)
{
    int64_t known_ms = r->t.ms - s->flat_known_ms;
    int64_t least_ms = known_ms > FLAT_KNOWN_MS || patience.least_ms > FLAT_LEAST_EARLY_MS
                           ? patience.least_ms
                           : FLAT_LEAST_EARLY_MS;
    int64_t run_ms = r->t.ms - begin_ms, most_ms = patience.times * s->flat_longest_ms;
    bool judged = !isnan(s->gate.limits->flat_suspect_s) || !isnan(s->gate.limits->flat_fail_s);
    return judged && begin_ms > s->flat_known_ms && known_ms > MS_PER_DAY &&
           run_ms > (most_ms > least_ms ? most_ms : least_ms);
}

/* One alert for all probes of the place: a twin that moves must not clear what its neighbour shows. */
static void judge_stuck(struct engine *e, int stream, const struct reading *r, struct now now,
                        struct effects *fx)
{
    const struct stream *site = &e->site->streams[stream];
    int slot = slot_find(e->site, site->place, KIND_STUCK, site->quantity);
    note_sent(&e->streams[stream], r);
    int64_t begin_ms = health_flat_since_ms(e, stream);
    note_stand(&e->streams[stream], r, begin_ms, LEAP_NOISES * quantity_info(site->quantity)->reading_sd);
    enum tri condition = stands_too_long(&e->streams[stream], r, begin_ms, patience_with(e, stream, r))
                             ? TRI_YES
                             : stuck(e, stream, r);
    for (int t = site->twin; t >= 0 && t != stream; t = e->site->streams[t].twin) {
        if (e->streams[t].silent || !e->streams[t].seen)
            continue;
        enum tri other = stuck(e, t, &e->streams[t].last);
        condition = condition == TRI_YES || other == TRI_YES ? TRI_YES
                    : condition == TRI_NO                    ? other
                                                             : condition;
    }
    alarm_judge(&e->alarms, slot, condition, r->value, NAN, now, fx);
}

/* Far noisier than it uses to be, or odd values again and again. */
static enum tri noisy(const struct stream_state *s, double floor_sd)
{
    double sd = noise_sd(&s->noise), usual = noise_usual_sd(&s->noise, floor_sd);
    double share = s->odd_of < ODD_LEAST ? 0 : (double)s->odd_count / s->odd_of;
    if (sd > NOISE_TIMES * usual || share > ODD_SHARE_NOISY)
        return TRI_YES;
    return sd < NOISE_CALM * usual && share < ODD_SHARE_CALM ? TRI_NO : TRI_KEEP;
}

/* One alert for all probes of the place: a calm twin must not clear what its neighbour shows. */
static void judge_noisy(struct engine *e, int stream, struct now now, struct effects *fx)
{
    const struct stream *site = &e->site->streams[stream];
    double floor_sd = quantity_info(site->quantity)->reading_sd;
    int slot = slot_find(e->site, site->place, KIND_NOISY, site->quantity), loudest = stream;
    if (slot < 0)
        return;
    enum tri condition = noisy(&e->streams[stream], floor_sd);
    for (int t = site->twin; t >= 0 && t != stream && condition != TRI_YES; t = e->site->streams[t].twin)
        if (!e->streams[t].silent && noisy(&e->streams[t], floor_sd) == TRI_YES) {
            condition = TRI_YES;
            loudest = t;
        }
    const struct noise *n = &e->streams[loudest].noise;
    alarm_judge(&e->alarms, slot, condition, noise_sd(n), NOISE_TIMES * noise_usual_sd(n, floor_sd), now, fx);
}

void health_noise(struct engine *e, int stream, const struct reading *r, struct now now, struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    const struct quantity_info *info = quantity_info(e->site->streams[stream].quantity);
    double gap_s = fmin(s->gate.limits->gap_fail_s, NOISE_GAP_S);
    if (info->reading_sd > 0 && noise_add(&s->noise, r->t.ms, r->value, gap_s, info->reading_sd))
        judge_noisy(e, stream, now, fx);
}

static void count_odd(struct stream_state *s, const struct reading *r)
{
    s->odd_of++;
    s->odd_count +=
        verdict_get(r->tests, TEST_SPIKE) >= FLAG_SUSPECT || verdict_get(r->tests, TEST_RATE) >= FLAG_SUSPECT;
    if (s->odd_of < ODD_WINDOW)
        return;
    s->odd_of /= 2;
    s->odd_count /= 2;
}

void health_verdict(struct engine *e, int stream, const struct reading *r, struct now now, struct effects *fx)
{
    take_share_back(&e->streams[stream], r, now);
    judge_stuck(e, stream, r, now, fx);
    count_odd(&e->streams[stream], r);
}
