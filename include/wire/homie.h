/* The site as a tree of devices of the Homie convention, 5.0 (homieiot.github.io): the site is the root, each
 * tank, source, circuit and rack, and each store that has probes, is a child. Which properties a device has,
 * how they are described, what their values look like. Pure; app/homie_tree knows when things go out.
 *
 * Nodes of a device: one for each measured quantity ("temp": value, quality, time, trend, band-low,
 * band-high), "derived", "forecast", "alerts" (level, count, most-urgent; acknowledge and shelve can be set)
 * and "service" (window can be set). The root has the quantities of the room and the alerts of the whole
 * site. What was never measured is not described: the convention has no null. */
#ifndef LENTIC_WIRE_HOMIE_H
#define LENTIC_WIRE_HOMIE_H

#include "base/text.h"
#include "model/command.h"
#include "model/message.h"
#include "model/report.h"
#include "model/site.h"

#define HOMIE_ROOT           (-1) /* in place of a place */
#define HOMIE_ID_MAX         80   /* of a device, with terminator */
#define HOMIE_TOPIC_MAX      192
#define HOMIE_VALUE_MAX      768
#define HOMIE_PROPERTIES_MAX (Q_COUNT * 6 + DERIVED_COUNT * 2 + 12)
#define HOMIE_SET_MAX        24 /* longest payload that can be set, with terminator */

enum homie_part {
    /* of a quantity */
    HOMIE_VALUE,
    HOMIE_QUALITY,
    HOMIE_TIME,
    HOMIE_TREND,
    HOMIE_LOW,
    HOMIE_HIGH,
    /* of a derived value */
    HOMIE_DERIVED,
    HOMIE_DERIVED_QUALITY,
    HOMIE_FORECAST_OF,
    HOMIE_FORECAST_LIMIT,
    HOMIE_FORECAST_AT,
    HOMIE_LEVEL,
    HOMIE_COUNT,
    HOMIE_URGENT,
    HOMIE_ACKNOWLEDGE,
    HOMIE_SHELVE,
    HOMIE_WINDOW,
    HOMIE_PART_COUNT
};

struct homie_property {
    enum homie_part part;
    int of; /* enum quantity or enum derived; 0 for the others */
};

/* What there is a first value of. */
struct homie_known {
    bool value[Q_COUNT], trend[Q_COUNT], derived[DERIVED_COUNT], forecast;
};

/* Everything that the values of one device are made of. */
struct homie_view {
    struct tank_report report; /* of a place that is no tank: values only, tank -1 */
    int alert_level;           /* -1 none, else enum priority */
    int alert_count;           /* that stand */
    char urgent[HOMIE_VALUE_MAX];
    bool acknowledged; /* just now, by a set */
    int shelve_min, window_min;
};

/* In front of every device's type. */
#define HOMIE_TYPE_FRONT "lentic/"

/* "tank"; NULL for a kind that never has a device. */
const char *homie_kind_word(enum place_kind kind);

/* Places with a device of their own. */
bool homie_has_device(const struct site *site, int place);

/* "millrace", "millrace-tank-a1". */
void homie_device_id(const struct site *site, int place, char *id);

/* What is known goes up, never down: an old value stays, its quality tells. True when something was added. */
bool homie_learn(const struct homie_view *view, struct homie_known *known);

/* Properties of a device in the order of their description. Returns how many. */
int homie_properties(const struct site *site, int place, const struct homie_known *known,
                     struct homie_property out[HOMIE_PROPERTIES_MAX]);

/* "temp/value" */
void homie_property_path(struct homie_property p, char *buf, size_t cap);
bool homie_is_settable(const struct site *site, struct homie_property p);
/* Carries a $target with every value, whether it may be set or not. */
bool homie_has_target(struct homie_property p);

/* The description document. children: ids, one behind the other, for the root. */
void homie_describe(const struct site *site, int place, const struct homie_property *properties, int count,
                    int64_t version, struct text *out);

/* The payload of a value; 0 when there is none to publish now. *number: what dead steps are judged by, NaN
 * for texts. */
size_t homie_value(const struct site *site, const struct homie_view *view, struct homie_property p, char *buf,
                   size_t cap, double *number);

/* How far a number may move untold; 0: every change is told. */
double homie_dead_step(const struct site *site, const struct homie_view *view, struct homie_property p);

/* Has its place under $alert: it is so, or waits for a reset, and nobody has put it aside. */
bool homie_alert_stands(const struct alert *a);

/* The $alert id below the device that carries it: "temp-low"; below the root "water-soft-batch". */
void homie_alert_id(const struct site *site, int slot, char *buf, size_t cap);

/* A message to a set topic of ours. */
struct homie_set {
    int place; /* HOMIE_ROOT or a place */
    struct homie_property property;
    char payload[HOMIE_SET_MAX]; /* as it came */
    int number;                  /* minutes; 0 or 1 for acknowledge */
};

/* The topic is a set topic of a device of this site; a neighbour's name may begin like the site's. */
bool homie_is_set(const struct site *site, const char *topic, size_t n);

/* Of a topic that homie_is_set. STATUS_INVALID with one sentence: no such property, not settable, not a value
 * of it, retained. */
enum status homie_parse_set(const struct site *site, const struct message *m, struct homie_set *out,
                            struct why *why) LENTIC_CHECKED;

#endif
