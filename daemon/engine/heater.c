#include "engine/heater.h"

#include <math.h>
#include <string.h>

/* Before anything is learnt the thermostat is taken to hold the setpoint within this: dials are off by a
 * kelvin and more, probes by half of one, and it switches half a kelvin to either side. All of them may add
 * up, so that nearer than these it is told only when the animals' band is near. */
#define SETPOINT_UNDER_C  1.5
#define SETPOINT_FAR_C    2.5
#define SETPOINT_HIGH_C   3.0
#define NEAR_BAND_H       1.5
#define NEAR_TOP_H        0.5
#define SETPOINT_OVER_C   2.0
#define SETPOINT_SPREAD_C 0.03
#define SEEN_MARGIN_C     0.1 /* it switched there by itself: so far beyond it may again */

/* A tank loses heat through its faces: tau grows with the cube root of the volume. About 2.4 h per cube root
 * of a litre with a lid, a tenth less without; small glass tanks lie within a factor of two. What evaporates
 * from an open one keeps it about a kelvin cooler than the room (the balance of the surface at half the
 * room's vapour: the loss at equal temperatures is that of a kelvin's difference). */
#define TAU_H_PER_CBRT_L 2.4
#define TAU_OPEN_SHARE   0.9
#define OPEN_COOLS_C     1.0
#define WATER_J_L_K      4186.0
#define GLASS_SHARE      0.92 /* of the heat that the water takes; glass and gravel take the rest */

/* The slope is taken over as long as the heater needs to move the water by this, and as the noise asks for.
 */
#define SHOWS_C        0.25
#define SLOPE_SHARE    0.1 /* the slope's error, as a share of the heater's */
#define NOISE_LEAST_C  0.02
#define SLOPE_LEAST    10 /* minutes */
#define SLOPE_MOST     45
#define SLOPE_GUESSED  30
#define SLOPE_SPARSE   75 /* for probes that speak every few minutes */
#define DISTURBED_MIN  30
#define TOO_FAST_TIMES 2.5
#define TOO_FAST_C_H   0.3
#define TOO_MUCH       1.6 /* times what the heater gives */

/* Heat as a share of the heater's usual. */
#define NO_HEAT    0.25
#define HEAT       0.6
#define STUCK_HEAT 0.5 /* over its band it should give none */
#define WEAK_HEAT  0.72
/* Heat on the average while it should give all, as a share of what the tank loses: a dead one gives none, a
 * weak one most of it, for else the tank would have been cold before. What the loss is off by, a dead one
 * seems to give. */
#define DEAD_HOLD      0.15 /* dead at once */
#define WEAK_HOLD      0.30 /* dead below, weak above, once that was watched for LONG_MIN */
#define GUESSED_HOLD   0.42 /* the same where the loss is guessed by the size of the tank */
#define DEAD_HEAT      0.05 /* or so little of what it gives when it is on */
#define WEAK_LOSS_C_H  0.12 /* less loss than that, and lamps and sun may be all the heat */
#define PROOF_LOSS_C_H 0.10
#define PROOF_UNDER_C  0.5
#define LONG_MIN       60
#define UNKNOWN_MIN    110 /* before the thermostat is known: it may just be waiting to switch on */
/* It falls faster than the loss explains: something else cools the water, and nothing is known of the heater.
 */
#define COOLED_C_H   0.25
#define COOLED_SHARE 0.5 /* of the loss */
#define WEAK_KNOWN_H 18  /* lamps and sun of most of a day are known */
/* As a share of what would hold the temperature, while the heater's usual is not known. */
#define NO_HOLD     0.45
#define HOLDS       1.3
#define GAP_LEAST_C 0.7 /* the room must be cooler by this for that share to mean something */

#define FAR_SPREADS     4.0 /* out of the band by these: a healthy heater does not do that */
#define NEAR_SPREADS    2.0 /* or by these, after it stopped halfway, or for as long as heat needs to show */
#define FAR_LEAST_C     0.02
#define FAR_OF_BAND     0.15 /* a thermostat that switches widely strays so much of it from time to time */
#define ELEMENT_LAG_H   0.15 /* its bimetal is so far behind the water: what moves faster goes farther */
#define ITSELF_C        0.3  /* so little beyond its band nobody has repaired it: it switched by itself */
#define SURE_MIN        3
#define SPARE_MIN       6
#define WEAK_MIN        90
#define HOLDS_MIN       120  /* at the switching point, with little heat, though nothing sinks */
#define HOLDS_PULSES    4.0  /* or so many times as long as it takes to heat */
#define WEAK_HELD_C     0.35 /* one that holds finely gives more the colder it is, and sags more */
#define WEAK_SHORT_C    0.25 /* under the switching point: some sag a little by night */
#define WEAK_SPREADS    3.0  /* and where it switches must be known so well */
#define COUNT_MOST      120
#define CALLED_MOST     1440
#define SILENT_LOSS_C_H 0.08 /* with less it may pause for hours */
#define PAUSE_STRAYS    1.3  /* rooms and lamps stretch it */
#define SHARE_MISSED    0.3
#define CHANCE_LEAST    0.15
#define REFUTED_SPAN_MS (3 * MS_PER_DAY)
#define BREAK_SPREADS   4.0
#define BREAK_LEAST_C   0.08
#define BREAK_GAP_MIN   5

void heater_init(struct heater *h)
{
    *h = (struct heater){ .volume_l = NAN,
                          .heater_w = NAN,
                          .setpoint_c = NAN,
                          .tau_guess_h = NAN,
                          .rated_c_h = NAN,
                          .band_lo_c = NAN,
                          .band_hi_c = NAN,
                          .lo_sd_c = NAN,
                          .hi_sd_c = NAN,
                          .lo_least_c = NAN,
                          .hi_most_c = NAN,
                          .off_c_h = NAN,
                          .full_c_h = NAN,
                          .tau_h = NAN,
                          .learnt_at = UTC_NONE,
                          .trouble_at = UTC_NONE,
                          .refuted_at = UTC_NONE,
                          .disturbed_until = UTC_NONE,
                          .heating_at = UTC_NONE,
                          .idle_since = UTC_NONE };
    for (int i = 0; i < 24; i++)
        h->other_c_h[i] = NAN;
}

void heater_feed(struct heater *h, double temp_c, utc_t t)
{
    minutes_feed(&h->recent, temp_c, t);
}

void heater_shift(struct heater *h, double gain, double offset)
{
    double *levels[] = { &h->band_lo_c, &h->band_hi_c, &h->lo_least_c, &h->hi_most_c };
    for (unsigned i = 0; i < sizeof levels / sizeof *levels; i++)
        *levels[i] = gain * *levels[i] + offset;
    minutes_shift(&h->recent, gain, offset);
}

/* --- looking --- */

static double tau_guess_h(const struct tank *tank)
{
    return TAU_H_PER_CBRT_L * cbrt(tank->volume_l) * (tank->lid ? 1.0 : TAU_OPEN_SHARE);
}

static double rated_c_h(const struct tank *tank)
{
    return tank->heater_w * 3600 * GLASS_SHARE / (WATER_J_L_K * tank->volume_l);
}

static bool differs(double a, double b)
{
    return !(a == b || (isnan(a) && isnan(b)));
}

/* Another volume, heater or setpoint: what was learnt holds no longer. */
static void meet_tank(struct heater *h, const struct tank *tank)
{
    bool met = !isnan(h->volume_l);
    if (met && (differs(h->volume_l, tank->volume_l) || differs(h->heater_w, tank->heater_w) ||
                differs(h->setpoint_c, tank->setpoint_c)))
        heater_init(h);
    h->volume_l = tank->volume_l;
    h->heater_w = tank->heater_w;
    h->setpoint_c = tank->setpoint_c;
    h->tau_guess_h = tau_guess_h(tank);
    h->rated_c_h = rated_c_h(tank);
}

static void band_of(const struct heater *h, const struct tank *tank, struct heater_view *out)
{
    double lo_sd = h->lo_sd_c, hi_sd = h->hi_sd_c;
    out->band_lo_c = h->heating_seen ? h->band_lo_c : NAN;
    out->band_hi_c = h->band_hi_c;
    if (isnan(out->band_lo_c) && !isnan(tank->setpoint_c)) {
        out->band_lo_c = tank->setpoint_c - SETPOINT_UNDER_C;
        lo_sd = SETPOINT_SPREAD_C;
    }
    if (isnan(out->band_hi_c) && !isnan(tank->setpoint_c)) {
        out->band_hi_c = tank->setpoint_c + SETPOINT_OVER_C;
        hi_sd = SETPOINT_SPREAD_C;
    }
    out->below = (out->band_lo_c - out->temp_c) / lo_sd;
    out->above = (out->temp_c - out->band_hi_c) / hi_sd;
}

/* Where it was before it may be again, and a little farther. */
static void spare_usual(const struct heater *h, struct heater_view *out)
{
    double margin = SEEN_MARGIN_C, over_lo = 0, over_hi = 0;
    if (h->heating_seen)
        margin = fmax(FAR_LEAST_C, FAR_OF_BAND * (h->band_hi_c - h->band_lo_c));
    if (h->heating_seen && !isnan(h->full_c_h)) { /* it switches, and is no fine one */
        over_lo = fmax(0, ELEMENT_LAG_H * (h->off_c_h - out->slope_c_h));
        over_hi = fmax(0, ELEMENT_LAG_H * (out->slope_c_h - h->off_c_h - h->full_c_h));
    }
    if (out->temp_c > h->lo_least_c - margin - over_lo)
        out->below = fmin(out->below, FAR_SPREADS / 2);
    if (out->temp_c < h->hi_most_c + margin + over_hi)
        out->above = fmin(out->above, FAR_SPREADS / 2);
}

static void loss_of(const struct heater *h, const struct tank *tank, utc_t now, struct heater_view *out)
{
    double gap = out->temp_c - out->room_c;
    double other = h->other_c_h[now.ms / MS_PER_HOUR % 24];
    double guessed = -(gap + (tank->lid ? 0 : OPEN_COOLS_C)) / h->tau_guess_h;
    out->free_c_h = isnan(gap) ? h->off_c_h : isnan(h->tau_h) ? guessed : -gap / h->tau_h;
    out->free_c_h += isnan(other) ? 0 : other;
    out->lamps_c_h = fmax(other, 0);
    out->full_c_h = isnan(h->full_c_h) ? rated_c_h(tank) : h->full_c_h;
}

static void heat_of(struct heater_view *v)
{
    double gap = v->temp_c - v->room_c;
    v->heat_c_h = v->slope_c_h - v->free_c_h;
    if (!isnan(v->full_c_h))
        v->share = v->heat_c_h / v->full_c_h;
    else if (gap > GAP_LEAST_C || (isnan(gap) && v->free_c_h < -0.05))
        v->share = v->heat_c_h / -v->free_c_h;
}

/* Least squares over n points in w hours err by noise * sqrt(12 / n) / w. */
static int minutes_to_show(const struct heater *h, const struct heater_view *v, double noise_c)
{
    if (isnan(v->full_c_h))
        return SLOPE_GUESSED;
    double every_h = minutes_apart(&h->recent) / 60;
    double error = fmax(noise_c, NOISE_LEAST_C) * sqrt(12 * every_h) / (SLOPE_SHARE * v->full_c_h);
    double hours = fmax(SHOWS_C / v->full_c_h, cbrt(error * error));
    return (int)fmin(fmax(60 * hours, SLOPE_LEAST), SLOPE_MOST);
}

static void disturb(struct heater *h, int32_t minute)
{
    int64_t until = (int64_t)(minute + DISTURBED_MIN) * MS_PER_MIN;
    if (!utc_is_set(h->disturbed_until) || h->disturbed_until.ms < until)
        h->disturbed_until = (utc_t){ until };
}

/* No heater and no room moves the water like that, with lamps or without. */
static bool too_fast(const struct heater_view *v)
{
    return v->slope_c_h < TOO_FAST_TIMES * fmin(v->free_c_h - v->lamps_c_h, 0) - TOO_FAST_C_H ||
           (v->full_c_h > 0 && v->share > TOO_MUCH);
}

void heater_look(struct heater *h, const struct tank *tank, const struct window *room, utc_t now,
                 struct heater_view *out)
{
    int32_t now_min = (int32_t)(now.ms / MS_PER_MIN), step;
    meet_tank(h, tank);
    *out =
        (struct heater_view){ .slope_c_h = NAN,
                              .heat_c_h = NAN,
                              .share = NAN,
                              .least_c = NAN,
                              .most_c = NAN,
                              .turns_c = { NAN, NAN },
                              .temp_c = minutes_level(&h->recent, now_min),
                              .room_c = room == NULL ? NAN : window_mean_over(room, now, 10 * MS_PER_MIN) };
    band_of(h, tank, out);
    loss_of(h, tank, now, out);
    double noise_c = minutes_noise(&h->recent),
           fastest = fabs(out->free_c_h) + (isnan(out->full_c_h) ? 1 : out->full_c_h);
    int usable = minutes_since_step(&h->recent, isnan(fastest) ? 2 : 1.3 * fastest, noise_c, &step), count;
    if (step != 0)
        disturb(h, step);
    out->minutes = minutes_to_show(h, out, noise_c);
    out->slope_c_h = minutes_slope(&h->recent, usable, now_min, out->minutes, &count);
    if (isnan(out->slope_c_h) && count < MINUTES_LEAST) {
        out->minutes = SLOPE_SPARSE < 2 * out->minutes ? SLOPE_SPARSE : 2 * out->minutes;
        out->slope_c_h = minutes_slope(&h->recent, usable, now_min, out->minutes, &count);
    }
    out->rises_evenly =
        out->slope_c_h > 0 && minutes_rise_evenly(&h->recent, usable, now_min, out->minutes, noise_c);
    out->turns_c = minutes_turns(&h->recent, usable, now_min, 2 * out->minutes);
    heat_of(out);
    spare_usual(h, out);
    if (too_fast(out))
        disturb(h, now_min);
}

/* --- judging --- */

bool heater_is_off(const struct heater_view *v)
{
    return v->unpowered || v->share < (isnan(v->full_c_h) ? NO_HOLD : NO_HEAT);
}

static bool gives_at_least(const struct heater_view *v, double share)
{
    return !v->unpowered && v->share > (isnan(v->full_c_h) ? HOLDS : share);
}

bool heater_gives(const struct heater_view *v)
{
    return gives_at_least(v, HEAT);
}

/* Bounded, so that the end of a long fault is seen as soon as that of a short one. */
static int32_t counted(int32_t minutes, int32_t most, bool speaks)
{
    if (speaks)
        return minutes < most ? minutes + 1 : most;
    return minutes > 1 ? minutes - 2 : 0;
}

/* It gave heat and gives none any more: at the switching point, or halfway? */
static void note_stop(struct heater *h, const struct heater_view *v, utc_t now)
{
    double short_by = v->band_hi_c - fmax(v->turns_c.hi, v->temp_c);
    if (!h->heating_seen || v->turns_c.hi < h->band_hi_c + ITSELF_C)
        h->hi_most_c = fmax(h->hi_most_c, v->turns_c.hi);
    h->heating = h->called = false;
    bool watched = now.ms - h->heating_at.ms <= (v->minutes + BREAK_GAP_MIN) * MS_PER_MIN;
    double climb_c = v->minutes / 60.0 * v->full_c_h; /* a band as narrow as that shows no halfway */
    h->broke_off = h->heating_seen && watched && v->band_hi_c - v->band_lo_c > climb_c &&
                   short_by > BREAK_LEAST_C && short_by > BREAK_SPREADS * h->hi_sd_c;
    h->idle_since = h->broke_off ? (utc_t){ now.ms - v->minutes / 2 * MS_PER_MIN } : UTC_NONE;
}

static void forget_learnt(struct heater *h)
{
    double *learnt[] = { &h->band_lo_c, &h->band_hi_c, &h->lo_sd_c,  &h->hi_sd_c, &h->lo_least_c,
                         &h->hi_most_c, &h->off_c_h,   &h->full_c_h, &h->tau_h };
    for (unsigned i = 0; i < sizeof learnt / sizeof *learnt; i++)
        *learnt[i] = NAN;
    for (int i = 0; i < 24; i++)
        h->other_c_h[i] = NAN;
    h->learnt_h = 0;
    h->heating_seen = h->broke_off = h->called = false;
    h->learnt_at = UTC_NONE;
}

bool heater_refuted_lately(const struct heater *h, utc_t now)
{
    return utc_is_set(h->refuted_at) && now.ms - h->refuted_at.ms < REFUTED_SPAN_MS;
}

/* Wrong for good: what it calls trouble would teach it better, and is not learnt from. */
void heater_refute(struct heater *h, utc_t now)
{
    bool again = heater_refuted_lately(h, now);
    h->refuted_at = again ? UTC_NONE : now;
    if (again)
        forget_learnt(h);
}

static void follow_heat(struct heater *h, const struct heater_view *v, utc_t now)
{
    if (heater_gives(v)) {
        if (!h->heating)
            h->began_above = v->above > NEAR_SPREADS;
        if (!h->heating && (!h->heating_seen || v->turns_c.lo > h->band_lo_c - ITSELF_C))
            h->lo_least_c = fmin(h->lo_least_c, v->turns_c.lo);
        h->heating = true;
        h->broke_off = false;
        h->heating_at = now;
        h->idle_since = UTC_NONE;
    } else if (heater_is_off(v)) {
        if (h->heating)
            note_stop(h, v, now);
        if (h->broke_off)
            return;
        if (!(v->below > 1))
            h->idle_since = UTC_NONE;
        else if (!utc_is_set(h->idle_since))
            h->idle_since = now;
    }
}

/* Where the power is lost the lamps are off, too. */
static bool cooled_otherwise(double heat_c_h, double loss_c_h)
{
    return heat_c_h < -(COOLED_C_H + COOLED_SHARE * fmax(loss_c_h, 0));
}

double heater_idles(const struct heater *h, const struct heater_view *v)
{
    if (!heater_is_off(v) || !(v->slope_c_h < 0 || v->unpowered) || !utc_is_set(h->idle_since))
        return 0;
    if (!v->unpowered && cooled_otherwise(v->heat_c_h + v->lamps_c_h, v->lamps_c_h - v->free_c_h))
        return 0;
    return fmax(h->broke_off ? BREAK_SPREADS : 0, fmax(v->below, 0));
}

/* One that switches too often for its pulses to be seen gives its share all the time. */
static double chance_of_fine(const struct heater_view *v, double loss_c_h)
{
    return loss_c_h / v->full_c_h - v->share > SHARE_MISSED ? CHANCE_LEAST : 1;
}

double heater_chance_of_silence(const struct heater *h, const struct heater_view *v, utc_t now)
{
    double loss_c_h = -v->free_c_h, range_c = v->band_hi_c - v->band_lo_c;
    if (!h->heating_seen || !utc_is_set(h->heating_at) || isnan(v->share) || v->above > 0 ||
        !(loss_c_h > SILENT_LOSS_C_H) || !(v->full_c_h > loss_c_h) || !heater_is_off(v))
        return 1;
    double pause_h = range_c / loss_c_h, pulse_h = range_c / (v->full_c_h - loss_c_h);
    if (pulse_h < v->minutes / 60.0)
        return chance_of_fine(v, loss_c_h);
    double silent_h = (double)(now.ms - h->heating_at.ms) / (double)MS_PER_HOUR;
    double chance = (PAUSE_STRAYS * pause_h - silent_h) / (pause_h + pulse_h);
    return fmin(fmax(chance, CHANCE_LEAST), 1);
}

/* Asked for heat from the switching point on, until it was seen to have given it. called_min: with little
 * heat since. */
static void note_call(struct heater *h, const struct heater_view *v)
{
    if (v->below > 0)
        h->called = true;
    else if (v->above > 0 || v->temp_c > (v->band_lo_c + v->band_hi_c) / 2)
        h->called = false;
    if (!h->called || v->share > WEAK_HEAT)
        h->called_min = 0;
    else if (h->called_min < CALLED_MOST)
        h->called_min++;
    if (h->called_min > 0)
        h->called_heat_c_h += (v->heat_c_h - h->called_heat_c_h) / h->called_min;
}

/* A thermostat that is seen to switch does not stand at its lower edge for hours: what heat there is holds
 * the water, and no more. */
static bool only_holds(const struct heater *h, const struct heater_view *v)
{
    double loss_c_h = -v->free_c_h;
    double pulse_min = 60 * (v->band_hi_c - v->band_lo_c) / (v->full_c_h - loss_c_h);
    return !isnan(h->full_c_h) && !isnan(h->tau_h) && v->temp_c - v->room_c > GAP_LEAST_C &&
           loss_c_h > WEAK_LOSS_C_H && v->full_c_h > loss_c_h && pulse_min > v->minutes &&
           h->called_min > fmax(HOLDS_MIN, HOLDS_PULSES * pulse_min) &&
           h->called_heat_c_h > WEAK_HOLD * loss_c_h;
}

static double weak_hold(const struct heater *h)
{
    return isnan(h->tau_h) ? GUESSED_HOLD : WEAK_HOLD;
}

/* A little heat for long, where it should give all it has and the water would sink without. */
static int32_t weak_minutes(const struct heater *h, const struct heater_view *v)
{
    if (!h->heating_seen || h->learnt_h < WEAK_KNOWN_H)
        return 0;
    if (heater_gives(v) && v->share > WEAK_HEAT)
        return counted(h->weak_min, COUNT_MOST, false);
    double short_c = fmax(isnan(h->full_c_h) ? WEAK_HELD_C : WEAK_SHORT_C, WEAK_SPREADS * h->lo_sd_c);
    bool some = h->under_loss_c_h > WEAK_LOSS_C_H && h->under_heat_c_h > weak_hold(h) * h->under_loss_c_h;
    bool sinks = h->called && some && v->band_lo_c - v->temp_c > short_c;
    return sinks || only_holds(h, v) ? counted(h->weak_min, COUNT_MOST, true) : h->weak_min;
}

/* A slope that reaches back to before it was asked says nothing of what it answers. */
static void note_under(struct heater *h, const struct heater_view *v)
{
    int32_t heard = h->under_min - v->minutes / 2;
    double part = heard <= 0 ? 1 : 1.0 / (heard < LONG_MIN ? heard + 1 : LONG_MIN);
    if (h->under_min == 0)
        h->under_heat_c_h = h->under_loss_c_h = 0;
    h->under_heat_c_h += part * (v->heat_c_h - h->under_heat_c_h);
    h->under_loss_c_h += part * (-v->free_c_h - h->under_loss_c_h);
    if (h->under_min < COUNT_MOST)
        h->under_min++;
}

static bool nears_band(const struct heater_view *v)
{
    return v->temp_c + NEAR_BAND_H * v->slope_c_h < v->least_c;
}

/* Where the water loses hardly anything, or where nobody knows what it loses, no heat and some look the same;
 * the first does no harm either. */
static bool is_proof(const struct heater *h, const struct heater_view *v)
{
    bool known = !isnan(h->full_c_h) || !isnan(v->room_c);
    return (known && h->under_loss_c_h > PROOF_LOSS_C_H) || v->band_lo_c - v->temp_c > PROOF_UNDER_C ||
           nears_band(v);
}

/* Where nothing was learnt of the thermostat it may just be set otherwise than it says. */
static bool may_be_the_dial(const struct heater *h, const struct heater_view *v)
{
    double off_c = v->temp_c - h->setpoint_c;
    if (off_c < 0)
        return !h->heating_seen && off_c > -SETPOINT_FAR_C && !nears_band(v);
    return isnan(h->band_hi_c) && off_c < SETPOINT_HIGH_C &&
           !(v->temp_c + NEAR_TOP_H * v->slope_c_h > v->most_c);
}

/* Under the switching point for long enough that heat would show, and none came. */
static bool gives_nothing(struct heater *h, const struct heater_view *v)
{
    if (!(v->below > 0)) {
        h->under_min = 0;
        return false;
    }
    note_under(h, v);
    if (v->unpowered)
        return true;
    if (h->under_min < (h->heating_seen ? v->minutes : UNKNOWN_MIN) || v->slope_c_h > 0 ||
        may_be_the_dial(h, v))
        return false;
    double hold = h->under_min < LONG_MIN ? DEAD_HOLD : weak_hold(h);
    double least = isnan(v->full_c_h) ? 0 : DEAD_HEAT * v->full_c_h;
    return heater_is_off(v) && h->under_heat_c_h < fmax(hold * h->under_loss_c_h, least) &&
           !cooled_otherwise(h->under_heat_c_h + v->lamps_c_h, h->under_loss_c_h + v->lamps_c_h) &&
           is_proof(h, v);
}

enum heater_cause heater_judge(struct heater *h, const struct heater_view *v, utc_t now)
{
    if (isnan(v->share) || (utc_is_set(h->disturbed_until) && now.ms < h->disturbed_until.ms)) {
        h->dead_min = h->stuck_min = h->weak_min = h->under_min = h->called_min = 0;
        return HEATER_UNKNOWN;
    }
    follow_heat(h, v, now);
    note_call(h, v);
    h->weak_min = weak_minutes(h, v);
    bool far_below = v->below > FAR_SPREADS || (v->below > NEAR_SPREADS && h->broke_off);
    bool cools = gives_nothing(h, v),
         warms = gives_at_least(v, STUCK_HEAT) && v->rises_evenly && !may_be_the_dial(h, v);
    int32_t dead_needs = h->weak_min >= WEAK_MIN ? WEAK_MIN : SURE_MIN;
    int32_t stuck_needs = h->began_above ? v->minutes : v->minutes / 2;
    h->dead_min = far_below ? counted(h->dead_min, dead_needs + SPARE_MIN, cools) : 0;
    h->stuck_min = v->above > FAR_SPREADS ? counted(h->stuck_min, stuck_needs + SPARE_MIN, warms) : 0;
    if (h->dead_min >= dead_needs)
        return HEATER_DEAD;
    if (h->stuck_min >= stuck_needs)
        return HEATER_STUCK;
    if (h->weak_min >= WEAK_MIN && !(heater_gives(v) && v->slope_c_h > 0))
        return HEATER_WEAK;
    return v->below < 1 && v->above < 1 ? HEATER_FINE : HEATER_UNKNOWN;
}

/* --- state --- */

void heater_visit(struct heater *h, struct pack *p)
{
    double *levels[] = { &h->band_lo_c, &h->band_hi_c, &h->lo_least_c,
                         &h->hi_most_c, &h->off_c_h,   &h->full_c_h };
    double *sizes[] = { &h->volume_l, &h->heater_w, &h->lo_sd_c, &h->hi_sd_c, &h->tau_h, &h->learnt_h };
    utc_t *times[] = { &h->learnt_at,       &h->trouble_at, &h->refuted_at,
                       &h->disturbed_until, &h->heating_at, &h->idle_since };
    minutes_visit(&h->recent, p);
    for (unsigned i = 0; i < sizeof levels / sizeof *levels; i++)
        pack_f64(p, levels[i], -100, 100);
    for (unsigned i = 0; i < sizeof sizes / sizeof *sizes; i++)
        pack_f64(p, sizes[i], 0, 1e6);
    pack_f64(p, &h->setpoint_c, -100, 100);
    pack_f64(p, &h->under_heat_c_h, -1000, 1000);
    pack_f64(p, &h->under_loss_c_h, -1000, 1000);
    pack_f64(p, &h->called_heat_c_h, -1000, 1000);
    for (int i = 0; i < 24; i++)
        pack_f64(p, &h->other_c_h[i], -100, 100);
    for (unsigned i = 0; i < sizeof times / sizeof *times; i++)
        pack_utc(p, times[i]);
    pack_bool(p, &h->heating_seen);
    pack_bool(p, &h->heating);
    pack_bool(p, &h->broke_off);
    pack_bool(p, &h->called);
    pack_bool(p, &h->began_above);
    pack_i32(p, &h->under_min, 0, COUNT_MOST);
    pack_i32(p, &h->dead_min, 0, COUNT_MOST);
    pack_i32(p, &h->stuck_min, 0, COUNT_MOST);
    pack_i32(p, &h->weak_min, 0, COUNT_MOST);
    pack_i32(p, &h->held_min, 0, COUNT_MOST);
    pack_i32(p, &h->called_min, 0, CALLED_MOST);
    pack_i32(p, &h->cause, HEATER_UNKNOWN, HEATER_WEAK);
}
