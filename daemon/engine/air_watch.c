/* Probes that hang in the air. Seen with the readings of the last minutes, once a minute. */
#include "engine/state.h"

#include <math.h>

#include "base/text.h"

#define DRY_SHARE      0.12 /* of the hour before: the probe hangs in the air */
#define DRY_MOST_US_CM 25.0
#define AIR_JUMP_SHARE 0.55 /* of the way to the room */
#define AIR_GAP_C      1.5

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

void air_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    const struct window *ec = place_lives(e, place, Q_EC) ? day_window(e, place, Q_EC) : NULL;
    const struct window *temp = place_lives(e, place, Q_TEMP) ? day_window(e, place, Q_TEMP) : NULL;
    char evidence[ALERT_EVIDENCE_MAX];
    double ec_before =
        ec == NULL ? NAN : window_mean_over(ec, (utc_t){ now.utc.ms - 20 * MS_PER_MIN }, 6 * MS_PER_HOUR);
    double ec_now = value_now(e, place, Q_EC), room = value_now(e, e->site->room_place, Q_TEMP);
    double t_now = value_now(e, place, Q_TEMP);
    double t_before =
        temp == NULL ? NAN : window_mean_over(temp, (utc_t){ now.utc.ms - 30 * MS_PER_MIN }, 20 * MS_PER_MIN);
    bool dry = ec_now < DRY_MOST_US_CM && ec_now < DRY_SHARE * ec_before;
    bool air = fabs(t_before - room) > AIR_GAP_C && (t_before - t_now) / (t_before - room) > AIR_JUMP_SHARE;
    bool active = alert_is_active(e, place, KIND_OUT_OF_WATER, Q_COUNT);
    bool wet = ec == NULL ? fabs(t_now - room) > AIR_GAP_C : ec_now > 2 * DRY_MOST_US_CM;
    enum tri condition = dry || (ec == NULL && air) ? TRI_YES : !active || wet ? TRI_NO : TRI_KEEP;
    struct text out = text_over(evidence, sizeof evidence);
    put_evidence(&out, ec_now, ec_before, t_now, t_before, room);
    judge_named(e, place, KIND_OUT_OF_WATER, Q_COUNT, condition, ec == NULL ? t_now : ec_now, NAN,
                active && !wet ? NULL : evidence, now, fx);
}
