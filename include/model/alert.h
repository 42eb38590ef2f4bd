/* Alert kinds and the life of one alert (terms after ANSI/ISA-18.2). */
#ifndef LENTIC_MODEL_ALERT_H
#define LENTIC_MODEL_ALERT_H

#include <stdbool.h>
#include <stdint.h>
#include "base/text.h"
#include "base/times.h"
#include "model/forecast.h"
#include "model/quantity.h"

enum alert_base { ALERT_NORM, ALERT_UNACK, ALERT_ACKED, ALERT_RTNUN, ALERT_LATUN, ALERT_LATAK };

/* Marks over the base state; while any is set nothing is announced. Shown OOSRV over DSUPR over SHLVD. */
enum { ALERT_SHELVED = 1, ALERT_BY_DESIGN = 2, ALERT_OUT_OF_SERVICE = 4 };

enum priority { PRIORITY_LOW, PRIORITY_MEDIUM, PRIORITY_HIGH, PRIORITY_COUNT };

const char *priority_name(enum priority p);    /* "low", "medium", "high" */
enum priority priority_find(const char *name); /* unknown: PRIORITY_HIGH, so that nothing is hushed */
const char *alert_state_name(enum alert_base base, unsigned marks);
const char *alert_state_words(enum alert_base base, unsigned marks); /* "acknowledged", "put aside", ... */

enum alert_change {
    CHANGE_RAISE,
    CHANGE_CLEAR,
    CHANGE_REMIND,
    CHANGE_REALARM, /* acknowledged and still active after realarm_s */
    CHANGE_ACK,
    CHANGE_RESET,
    CHANGE_SHELVE,
    CHANGE_UNSHELVE,
    CHANGE_SUPPRESS,
    CHANGE_UNSUPPRESS,
    CHANGE_OUT,    /* out of service */
    CHANGE_BACK,   /* back in service */
    CHANGE_STATE,  /* the state moved without anything to announce (while suppressed) */
    CHANGE_UPDATE, /* same state, new cause, evidence or members */
    CHANGE_COUNT
};

const char *alert_change_name(enum alert_change c);

/* Where an alert can live. */
enum alert_scope {
    SCOPE_TANK_LIMIT, /* one per tank and quantity: "<quantity>-<name>" */
    SCOPE_STREAM,     /* one per place and quantity that has probes: "<quantity>-<name>" */
    SCOPE_TANK,
    SCOPE_CIRCUIT,
    SCOPE_RACK,
    SCOPE_ROOM,
    SCOPE_SOURCE,
    SCOPE_WATER,   /* all tanks of one water */
    SCOPE_SERVICE, /* the service itself */
};

enum alert_kind {
    KIND_LOW,
    KIND_HIGH,
    KIND_SWING,
    KIND_FAST,  /* changes faster than the kind of animal bears */
    KIND_DRIFT, /* away from the water's target, sustained */
    KIND_HEATER_DEAD,
    KIND_HEATER_STUCK,
    KIND_HEATER_WEAK,
    KIND_TOPOFF_STOPPED,
    KIND_TOPOFF_MINERALS,
    KIND_TOPOFF_OVER,
    KIND_LEAK,
    KIND_WASTE,
    KIND_EC_FALL, /* unannounced fall of dissolved solids */
    KIND_BATCH,
    KIND_SOURCE_WORN,
    KIND_POWER_LOST, /* circuit or rack */
    KIND_ROOM_COLD,
    KIND_ROOM_HOT,
    KIND_OUT_OF_WATER,
    KIND_SILENT,
    KIND_STUCK,
    KIND_NOISY,
    KIND_DRIFTING,
    KIND_REFUSED, /* payloads refused: wrong unit, unreadable */
    KIND_CALIBRATION_DUE,
    KIND_BATTERY, /* of the device */
    KIND_AMMONIA,
    KIND_OXYGEN,
    KIND_BROKER_DOWN,
    KIND_STORE_FAILING,
    KIND_INBOX_FULL,
    KIND_LOG_HELD,    /* somebody reads the store without end */
    KIND_CERTIFICATE, /* of ours, for the broker: ends soon */
    KIND_DELIVERY_FAILED,
    KIND_COUNT
};

/* Alerts of one family follow from one another: the one that leads speaks for the rest. */
enum alert_family { FAMILY_OTHER, FAMILY_HEAT, FAMILY_SOLIDS, FAMILY_PROBE };

struct kind_info {
    const char *name; /* topic part: "low" with a quantity gives "temp-low"; "heater-dead" stands alone */
    enum alert_scope scope;
    const char *title;       /* for people: "heater not heating" */
    const char *consequence; /* what happens if nothing is done */
    const char *action;      /* what to do, when the cause knows nothing better */
    enum priority priority;
    bool latching;
    double deadband; /* in the quantity's unit; only for kinds with a comparator. NaN: the quantity's own
                        default */
    double on_delay_s, off_delay_s;
    const char *meaning; /* what it means, in a sentence or two */
    const char *time;    /* how long there is */
    enum alert_family family;
    bool symptom; /* a number out of its limits, as against something that is known to be wrong */
};

const struct kind_info *kind_info(enum alert_kind kind);

/* "temperature below the band"; "payloads refused (temperature)"; "heater not heating". q: Q_COUNT for none.
 */
void kind_title(enum alert_kind kind, enum quantity q, struct text *out);

/* Unit and decimals of an alert's value and limit: those of its quantity, unless the kind speaks of something
 * else (minutes of silence, per cent of odd readings). NULL: the kind has no number with a unit. */
const char *kind_unit(enum alert_kind kind, enum quantity q);
int kind_decimals(enum alert_kind kind, enum quantity q);

/* Settings of one alert, after the overrides of the configuration. */
struct alert_settings {
    bool enabled;
    enum priority priority;
    bool latching;
    double deadband;
    int64_t on_delay_ms, off_delay_ms;
    int64_t renotify_ms;      /* until the first reminder; 0 = none */
    int64_t renotify_most_ms; /* each further one after twice the time, this at the most; at or below
                                 renotify_ms: always after renotify_ms */
    int64_t realarm_ms;       /* 0 = never */
};

#define KIND_TEXT_MAX 40

/* The family of one alert: a limit's is that of its quantity. */
enum alert_family kind_family(enum alert_kind kind, enum quantity q);

/* "temp-low", "heater-dead". */
const char *kind_format(enum alert_kind kind, enum quantity q, char *buf, size_t cap);

#define ALERT_CAUSE_MAX    64
#define ALERT_EVIDENCE_MAX 256
#define ALERT_ACTION_MAX   256
#define ALERT_ALSO_MAX     128
#define ALERT_WHO_MAX      48
#define ALERT_WHY_MAX      96

/* One alert as others see it; a copy, safe to keep. */
struct alert {
    int index; /* into site->alerts */
    enum alert_base base;
    unsigned marks;
    bool active, unknown; /* unknown: cannot judge now */
    bool chattering;      /* came too often: quiet until it has been calm for a while */
    bool habitual;        /* has come so often for days that it is told now and then only */
    utc_t since;          /* of the state */
    utc_t raised_at;      /* of the present or last raise */
    double value, limit;  /* NaN when there is none */
    char cause[ALERT_CAUSE_MAX];
    char evidence[ALERT_EVIDENCE_MAX];
    char action[ALERT_ACTION_MAX];
    char also[ALERT_ALSO_MAX]; /* names of those listed under it, by comma; empty: none */
    utc_t due;                 /* when the limit or the harm is reached; UTC_NONE when not known */
    struct forecast forecast;  /* the same with its spread */
    utc_t shelved_until;       /* UTC_NONE when not shelved */
    utc_t out_until;
    char who[ALERT_WHO_MAX], why[ALERT_WHY_MAX]; /* of the last command */
    uint32_t raises;                             /* since NORM */
    uint32_t reminders;                          /* since the last raise */
    int leader; /* index of the alert that leads this one's group, -1 when it stands alone or leads */
};

/* A service window marks every alert of its tank; for those with nothing to say that is no news to keep or
 * publish. */
static inline bool alert_is_news(const struct alert *a, enum alert_change change)
{
    return a->base != ALERT_NORM || a->active || (change != CHANGE_SUPPRESS && change != CHANGE_UNSUPPRESS);
}

#endif
