/* The configuration after loading: dense arrays, frozen, owned by the site's arena. Indices, not pointers,
 * tie the things together; -1 means none. Everything is in stored units; NaN means not given. */
#ifndef LENTIC_MODEL_SITE_H
#define LENTIC_MODEL_SITE_H

#include <stdbool.h>
#include <stdint.h>
#include "base/arena.h"
#include "base/times.h"
#include "model/alert.h"
#include "model/calib.h"
#include "model/command.h"
#include "model/names.h"
#include "model/quantity.h"

enum place_kind {
    PLACE_ROOM,
    PLACE_TANK,
    PLACE_RACK,
    PLACE_CIRCUIT,
    PLACE_SOURCE,
    PLACE_STORE,
    PLACE_WATER,
    PLACE_SERVICE,
    PLACE_KIND_COUNT
};

struct place {
    enum place_kind kind;
    const char *id;   /* "a1"; for the room "room", for the service itself "lentic" */
    const char *text; /* "tank/a1"; "room"; "lentic" */
    const char *name; /* for people; the id when none was given */
    int tank;         /* index into tanks for PLACE_TANK, else -1 */
};

struct span {
    double lo, hi; /* NaN: open on that side */
};

/* A kind of animals: bands to stay in and limits of change. */
struct stock {
    const char *id, *name;
    struct span band[Q_COUNT];
    double day_range[Q_COUNT]; /* largest range over a rolling day */
    double per_hour[Q_COUNT];  /* fastest change */
    double step[Q_COUNT];      /* largest single step of a water change */
    const char *source;        /* where the figures come from */
};

/* As configured, while learnt figures stand in (model/learnt.h). */
struct salt_figures {
    bool kept;
    double gh, kh, ec, tds;
};

/* A salt by what 1 g/L adds; or by its composition from the table of common salts. */
struct salt {
    const char *id, *name;
    const char *composition; /* NULL, or a name that water/salts knows */
    double gh, kh, ec, tds;  /* per g/L: dH, dH, uS/cm at 25, mg/L */
    double stock_g;          /* grams in the cupboard; NaN when not said */
    utc_t stock_since;       /* when they were weighed: batches since then count against them; UTC_NONE */
    struct salt_figures configured;
};

/* A kit of hand tests: how far its results may be off. */
struct kit {
    const char *id, *name;
    double sd[Q_COUNT]; /* one standard uncertainty; NaN: as usual */
};

enum source_kind { SOURCE_PURIFIED, SOURCE_TAP, SOURCE_WELL, SOURCE_RAIN };
enum disinfectant { DISINFECTANT_UNKNOWN, DISINFECTANT_NONE, DISINFECTANT_CHLORINE, DISINFECTANT_CHLORAMINE };

const char *source_kind_name(enum source_kind k); /* "purified", "tap", "well", "rain" */

/* What a source gives. */
struct source {
    int place;
    double makes_l_day; /* NaN: not said */
    double store_l;     /* that its container holds; NaN: not said */
    enum source_kind kind;
    enum disinfectant disinfectant; /* that the supplier adds */
    int feed;                       /* place of the source that a purifying unit is fed with; none: -1 */
    double exhausted_ec;            /* purified: above it the unit is worn out; NaN, 0: the usual figure */
};

/* A container of mixed water. */
struct container {
    int place;
    int water;       /* -1: not said */
    double holds_l;  /* NaN: not said */
    double l_per_mm; /* of its level probe; NaN: none */
};

struct recipe_part {
    int salt;
    double g_per_l;
};

struct water {
    const char *id, *name;
    double target[Q_COUNT];
    double drift[Q_COUNT];        /* how far a tank may be from the target before it counts as drifted */
    double tds_per_ec;            /* mg/L per uS/cm; NaN: the quantity's usual factor, shown as such */
    double configured_tds_per_ec; /* while a learnt one stands in */
    bool configured_kept;
    struct recipe_part *recipe;
    int recipe_count;
    int source;         /* place index of the source it is made from, -1 */
    int blend;          /* place index of a second source that goes in too; none: -1 */
    double blend_share; /* of that one, 0 to 1 */
};

struct tank {
    const char *id, *name;
    int place;
    double volume_l;
    int water, stock;  /* -1 when not given */
    int rack, circuit; /* place indices, -1 */
    double heater_w;   /* rated power; NaN: no heater known */
    double setpoint_c; /* NaN: not known */
    bool lid;
    double topoff_l_day;       /* automatic top-off's usual amount; NaN: by hand */
    double change_l_week;      /* usual weekly change; NaN: not said */
    double change_every_d;     /* between two changes; NaN: a week */
    double reservoir_l;        /* of the top-off, when full; NaN: none */
    struct span band[Q_COUNT]; /* stock's, with the tank's own overrides */
    double day_range[Q_COUNT], per_hour[Q_COUNT], step[Q_COUNT];
};

/* One value of one probe entry. */
struct probe_value {
    const char *at; /* JSON pointer; NULL: the payload is the bare number */
    enum quantity quantity;
    const char *unit_name;
    struct unit unit;      /* sent -> stored */
    const char *unit_at;   /* JSON pointer to the announced unit; NULL: none */
    bool unit_per_message; /* convert by the announced unit instead of refusing another one */
    bool compensated;      /* EC is already at 25 degrees; for raw EC false */
    bool millivolts;       /* an electrode that sends mV */
    double alpha;          /* linear temperature coefficient per degree; NaN: natural waters, ISO 7888 */
    bool comma;            /* decimal comma allowed */
    double missing[8];     /* codes that mean "no reading", as sent */
    int missing_count;
    struct gate_limits gate;
    struct calib calib; /* as configured */
    double every_s;     /* NaN: learnt */
    double stale_s;     /* NaN: from the cadence */
    bool on_change;     /* publishes on change only */
};

enum time_form {
    TIME_FORM_AUTO,
    TIME_FORM_S,
    TIME_FORM_MS
}; /* epoch seconds or ms; auto: RFC 3339, or epoch by its size */

/* Different topics that one configuration subscribes to, at most. */
#define SITE_FILTERS_MAX 500

struct probe_entry {
    const char
        *topic; /* pattern with captures, e.g. probes/{tank}/temp ; + and # as in MQTT are allowed too */
    const char *filter;      /* the MQTT topic filter to subscribe: captures replaced by + */
    int place;               /* fixed place, -1: by capture */
    enum place_kind capture; /* which capture names the place, when place is -1 */
    const char *list_at;     /* JSON pointer to a list whose items are documents of their own; NULL */
    const char *time_at;     /* JSON pointer to the payload's own time; NULL */
    enum time_form time_form;
    const char *match_at,
        *match;         /* only documents in which the text or number at match_at equals match; NULL */
    const char *device; /* id of the device at that place; NULL */
    const char *device_at, *battery_at, *link_at; /* JSON pointers to what devices tell of themselves; NULL */
    double battery_low;                           /* alert below it; NaN: none */
    const char *battery_unit, *link_unit;         /* as sent: "%", "V"; "dBm", "%" */
    int qos;                                      /* asked of the broker: 0 or 1 */
    struct probe_value *values;
    int value_count;
    int first_stream; /* streams of this entry stand together: for place i of entry_places, value j */
    int *places;      /* places this entry serves, in order */
    bool tanks_named; /* the entry lists its tanks: each is expected to carry the probe */
    int place_count;
    int line; /* in the configuration, for messages */
};

/* One quantity at one place from one probe. */
struct stream {
    int entry, value, place;
    enum quantity quantity;
    const char *name; /* stable identity: concrete topic pattern + "#" + pointer, e.g. "probes/a1/temp" or
                         "rack-b/b2/state#/ec" */
    int twin;         /* next stream of the same place and quantity, in a ring; -1 when alone */
    int temp_stream;  /* stream that gives the temperature for compensation, -1 */
};

/* One possible alert: all are known from the configuration. */
struct alert_slot {
    enum alert_kind kind;
    enum quantity quantity; /* Q_COUNT when the kind has none */
    int place;              /* index into places */
    struct alert_settings settings;
    const char *name; /* "temp-low" */
    const char *ref;  /* "tank/a1/temp-low" */
};

struct broker_settings {
    const char *host;
    int port;
    const char *client_id;
    const char *user, *password_file; /* NULL: none; the file may be a name below CREDENTIALS_DIRECTORY */
    bool tls;
    const char *ca_file, *cert_file, *key_file;
    bool tls_verify;
    int mqtt_version; /* 5 or 3 (3.1.1) */
    int keepalive_s;
};

enum store_sync { STORE_SYNC_WINDOW, STORE_SYNC_EVERY };

struct store_settings {
    const char *path;
    double commit_s; /* readings are committed at least this often */
    int commit_rows;
    enum store_sync sync;
    int keep_raw_days;
    int thin_after_days;   /* 0: never thinned */
    double thin_bound;     /* in usual noises (quantity_info.reading_sd) */
    double thin_longest_s; /* between readings that stay */
    int log_most_mib;      /* a log beyond it, for some minutes, is an alert */
    int inbox_kib;
    const char *runtime_dir; /* inbox ring and state snapshots; tmpfs */
};

struct publish_settings {
    const char *base;    /* default lentic/SITE */
    double tank_every_s; /* slowest refresh of a tank's document */
    double tank_least_s; /* not more often than this, alerts aside */
    double heartbeat_s;
    bool homie;                 /* as a Homie 5 device with children, on a connection of its own */
    const char *homie_domain;   /* first level of its topics */
    double homie_every_s;       /* slowest refresh of a value that hardly moves */
    double homie_step[Q_COUNT]; /* dead step of a value; NaN: the noise of a cheap probe */
};

/* What the keeper's week rests on. NaN for a quantity: never asked for. */
struct plan_settings {
    double days;                  /* that a plan looks ahead, and that are published */
    double most_share;            /* of a tank, in one change */
    double stage_d;               /* days between two stages of one correction, at the least */
    double no3_most;              /* mg/L, where neither tank nor kind has a band */
    double test_every_d[Q_COUNT]; /* hand tests of what no probe measures */
    double calibrate_every_d[Q_COUNT];
};

enum notify_format { NOTIFY_AS_TEXT, NOTIFY_AS_JSON };

struct notify_settings {
    const char *const *command; /* argv, NULL-terminated; NULL: none */
    int command_timeout_s;
    const char *const *heartbeat; /* argv of the command that proves progress; NULL: none */
    int heartbeat_every_s;
    enum notify_format format;        /* of the message on the command's standard input */
    int quiet_from_min, quiet_to_min; /* minutes of the local day; -1: none */
    int summary_min;                  /* minute of the local day; -1: none */
};

/* model/announcement: a template, and what there is one of. */
enum announcement_scope { ANNOUNCE_SITE, ANNOUNCE_TANK, ANNOUNCE_QUANTITY, ANNOUNCE_ALERT };

struct announcement {
    const char *topic, *payload;
    enum announcement_scope scope;
    enum quantity quantity; /* only this one; Q_COUNT: each */
    bool retain;
    int line;
};

struct site {
    struct arena arena;
    const char *id, *name; /* "millrace", "Millrace hatchery" */
    const char *timezone;  /* POSIX or IANA name, for display only; NULL: the system's */
    double altitude_m;
    double meter_scale; /* the keeper's hand meter: TDS per EC (0.5, 0.64, 0.7); NaN: none named */
    struct broker_settings broker;
    struct store_settings store;
    struct publish_settings publish;
    struct notify_settings notify;
    struct plan_settings plan;
    bool command_off[COMMAND_COUNT]; /* not taken from the broker */
    struct announcement *announcements;
    int announcement_count;

    struct place *places;
    int place_count;
    int room_place, service_place;
    struct stock *stocks;
    int stock_count;
    struct source *sources;
    int source_count;
    struct container *stores;
    int store_count;
    struct salt *salts;
    int salt_count;
    struct water *waters;
    int water_count;
    struct kit *kits;
    int kit_count;
    struct tank *tanks;
    int tank_count;
    struct probe_entry *entries;
    int entry_count;
    struct stream *streams;
    int stream_count;
    int *first_stream;         /* [place * Q_COUNT + quantity]: first stream of that place and quantity, -1 */
    struct alert_slot *alerts; /* those of one place stand together */
    int alert_count;
    int *first_alert; /* [place_count + 1]: alerts of place p are first_alert[p] .. first_alert[p+1]-1 */
};

/* Index of the place with that text ("tank/a1", "room"), -1 when there is none. */
int site_place_find(const struct site *site, const char *text, size_t n);
int site_tank_find(const struct site *site, const char *id, size_t n);
int site_alert_find(const struct site *site, const char *ref, size_t n); /* "tank/a1/temp-low" */

/* Index into sources, stores of the one at that place; -1: none there. */
int site_source_at(const struct site *site, int place);
int site_store_at(const struct site *site, int place);
/* Made from purified or rain water alone: it brings no minerals along. */
bool site_water_is_pure(const struct site *site, int water);
int site_source_find(const struct site *site, const char *id, size_t n);

/* First stream of that place and quantity, -1. The others by stream.twin. */
int site_stream_of(const struct site *site, int place, enum quantity q);
const struct probe_value *site_stream_value(const struct site *site, int stream);
const struct probe_entry *site_stream_entry(const struct site *site, int stream);

/* Called by the loader when everything else stands: makes streams (with twins and temperature partners) and
 * alert slots in the site's arena, with default settings. */
void site_derive_streams(struct site *site);
void site_derive_alerts(struct site *site);

void site_fini(struct site *site);

#endif
