/* Hand tests: the last value a person measured of each quantity of a tank, with its time. It stands in where
 * no probe speaks. For the files of this layer. */
#ifndef LENTIC_ENGINE_HAND_H
#define LENTIC_ENGINE_HAND_H

#include "engine/engine.h"

struct hand_value {
    double value; /* NaN: none */
    utc_t t;
};

/* A note with quantity and value. Judged by the limit rules when it is of today and no probe speaks. An older
 * test than the last, or of a place that is no tank, changes nothing. STATUS_REFUSED: of the future. */
enum status hand_test(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                      struct why *why) LENTIC_CHECKED;

/* Puts the hand value into *out when there is none in it, or only an older one of a silent probe. */
void hand_report(const struct engine *e, int tank, enum quantity q, struct now now, struct value_report *out);

#endif
