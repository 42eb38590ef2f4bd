#include "model/steady.h"

#include <math.h>
#include <string.h>

#define ELECTRODE_NOISE_MV 1.0
#define EC_NOISE_SHARE     0.005

void steady_add(struct steady *s, int64_t t_ms, double v)
{
    if (s->count > 0 && t_ms - s->t_ms[s->count - 1] < STEADY_NEAR_MS)
        return;
    if (s->count == STEADY_ROOM) {
        memmove(s->v, s->v + 1, (STEADY_ROOM - 1) * sizeof *s->v);
        memmove(s->t_ms, s->t_ms + 1, (STEADY_ROOM - 1) * sizeof *s->t_ms);
        s->count--;
    }
    s->v[s->count] = v;
    s->t_ms[s->count++] = t_ms;
}

struct steady_view steady_view(const struct steady *s, double noise)
{
    struct steady_view view = { .mean = NAN, .most = STEADY_NOISES * noise };
    double lo = INFINITY, hi = -INFINITY, sum = 0;
    if (s->count == 0)
        return view;
    for (int i = s->count - 1; i >= 0 && (view.count < STEADY_COUNT || view.took_ms < STEADY_LEAST_MS); i--) {
        lo = fmin(lo, s->v[i]);
        hi = fmax(hi, s->v[i]);
        sum += s->v[i];
        view.count++;
        view.took_ms = s->t_ms[s->count - 1] - s->t_ms[i];
    }
    view.mean = sum / view.count;
    view.span = hi - lo;
    view.steady = view.count >= STEADY_COUNT && view.took_ms >= STEADY_LEAST_MS && view.span <= view.most;
    return view;
}

double steady_noise(enum quantity q, bool millivolts, double v)
{
    double sd = quantity_info(q)->reading_sd;
    if (millivolts)
        return ELECTRODE_NOISE_MV;
    return q == Q_EC ? fmax(sd, EC_NOISE_SHARE * fabs(v)) : sd;
}
