/* When a value that moves reaches a limit, with an honest spread; and how such words turned out. */
#ifndef LENTIC_MODEL_FORECAST_H
#define LENTIC_MODEL_FORECAST_H

#include "base/text.h"
#include "base/times.h"
#include "model/quantity.h"

struct forecast {
    enum quantity quantity;  /* Q_COUNT: none */
    int place;               /* index into the site's places: where the limit is reached */
    double limit;            /* in the quantity's unit */
    utc_t at;                /* UTC_NONE when there is none */
    utc_t at_early, at_late; /* four of five should come within; at_late UTC_NONE: perhaps never */
};

#define FORECAST_NONE                                                                                        \
    ((struct forecast){                                                                                      \
        .quantity = Q_COUNT, .place = -1, .at = UTC_NONE, .at_early = UTC_NONE, .at_late = UTC_NONE })

/* "reaches 20.5 °C in about 2 h 40 min (2 h to 3 h 30 min)"; who, like "tank/a3", stands before when not
 * NULL. Nothing is put when there is none or it lies before now. */
void forecast_put(const struct forecast *f, const char *who, utc_t now, struct text *out);

/* Spans as people say them: 5 min steps below an hour, coarser beyond. Milliseconds. */
int64_t forecast_round(int64_t ms);

/* What became of forecasts. */
struct forecast_scores {
    uint32_t made;
    uint32_t reached;   /* the limit was reached */
    uint32_t within;    /* of those that could be judged: came within the spread */
    uint32_t outside;   /* earlier, later, or not at all */
    uint32_t overtaken; /* the alert ended, or work began, before it could be judged */
    double error_sum;   /* of |took - said| / said over reached */
};

#endif
