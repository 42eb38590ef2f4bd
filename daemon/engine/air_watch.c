/* Probes that hang in the air. Seen with the readings of the last minutes, once a minute. */
#include "engine/state.h"

#include <math.h>

#include "base/text.h"

#define DRY_SHARE      0.12 /* of the hour before: the probe hangs in the air */
#define DRY_MOST_US_CM 25.0
#define AIR_GAP_C      1.5
#define AIR_JUMP_SHARE 0.55 /* of the way to the room */
#define LIFTED_SHARE   0.7  /* while the conductivity is that of water: no change goes so far */
#define PLUNGE_C       2.0  /* within minutes, and this share of the way: a change is slower or less */
#define PLUNGE_SHARE   0.4
#define PLUNGE_MS      (5 * MS_PER_MIN)
#define LEAP_C         0.5               /* between two readings: looked at before the limits are */
#define IN_WATER_MS    (20 * MS_PER_MIN) /* so long ago it was in the water for sure */

static void put_evidence(struct text *out, double ec, double ec_before, double temp_c, double temp_before_c,
                         double room_c)
{
    if (!isnan(ec) && !isnan(ec_before))
        text_printf(out, "conductivity %.0f µS/cm, before %.0f; ", ec, ec_before);
    text_printf(out, "temperature %.1f °C", temp_c);
    if (!isnan(temp_before_c))
        text_printf(out, ", half an hour ago %.1f °C", temp_before_c);
    if (!isnan(room_c))
        text_printf(out, ", room %.1f °C", room_c);
}

bool is_immersed(enum quantity q)
{
    return q != Q_LEVEL && q != Q_LEAK;
}

/* What was measured since the probe was lifted is no history of the water. */
static void forget_air(struct engine *e, int place, utc_t now)
{
    utc_t since = { now.ms - 2 * PLUNGE_MS };
    for (int i = 0; i < e->site->stream_count; i++)
        if (e->site->streams[i].place == place && is_immersed(e->site->streams[i].quantity))
            window_forget_since(&e->streams[i].day, since);
}

/* Its temperature went to that of the room as no water does. */
static bool is_air(const struct window *temp, double t_now, double before, double room_c, bool ec_is_wet,
                   utc_t now)
{
    double lately = window_mean_over(temp, (utc_t){ now.ms - 2 * PLUNGE_MS }, PLUNGE_MS);
    double gap = before - room_c, share = (before - t_now) / gap;
    bool plunged = fabs(lately - t_now) > PLUNGE_C && share > PLUNGE_SHARE;
    return fabs(gap) > AIR_GAP_C && (plunged || share > (ec_is_wet ? LIFTED_SHARE : AIR_JUMP_SHARE));
}

/* Water that is usually as warm as the room tells nothing by its warmth. */
static bool is_water(const struct window *temp, double t_now, double room_c, utc_t now)
{
    double usual = window_mean_over(temp, (utc_t){ now.ms - IN_WATER_MS }, 6 * MS_PER_HOUR);
    return !(fabs(t_now - room_c) < AIR_GAP_C) || fabs(usual - room_c) < AIR_GAP_C;
}

void air_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    const struct window *ec = place_lives(e, place, Q_EC) ? day_window(e, place, Q_EC) : NULL;
    const struct window *temp = place_lives(e, place, Q_TEMP) ? day_window(e, place, Q_TEMP) : NULL;
    char evidence[ALERT_EVIDENCE_MAX];
    double ec_before =
        ec == NULL ? NAN : window_mean_over(ec, (utc_t){ now.utc.ms - IN_WATER_MS }, 6 * MS_PER_HOUR);
    double ec_now = value_now(e, place, Q_EC), room = value_now(e, e->site->room_place, Q_TEMP);
    double t_now = value_now(e, place, Q_TEMP);
    double t_before =
        temp == NULL ? NAN : window_mean_over(temp, (utc_t){ now.utc.ms - 30 * MS_PER_MIN }, IN_WATER_MS);
    bool dry = ec_now < DRY_MOST_US_CM && ec_now < DRY_SHARE * ec_before;
    bool ec_is_wet = ec_now > 2 * DRY_MOST_US_CM;
    bool air = temp != NULL && !alert_is_active(e, place, KIND_NOISY, Q_TEMP) &&
               is_air(temp, t_now, t_before, room, ec_is_wet, now.utc);
    bool active = alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT);
    bool wet = (ec == NULL || ec_is_wet) && (temp == NULL || is_water(temp, t_now, room, now.utc));
    enum tri condition = dry || air ? TRI_YES : !active || wet ? TRI_NO : TRI_KEEP;
    struct text out = text_over(evidence, sizeof evidence);
    put_evidence(&out, ec_now, ec_before, t_now, t_before, room);
    judge_named(e, place, KIND_OUT_OF_WATER, Q_COUNT, condition, ec == NULL ? t_now : ec_now, NAN,
                active && !wet ? NULL : evidence, now, fx);
    if (!active && alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT))
        forget_air(e, place, now.utc);
}

void air_look(struct engine *e, int stream, double before, double v, struct now now, struct effects *fx)
{
    const struct stream *s = &e->site->streams[stream];
    int tank = e->site->places[s->place].tank;
    if (tank >= 0 && s->quantity == Q_TEMP && fabs(v - before) > LEAP_C)
        air_watch(e, tank, now, fx);
}
