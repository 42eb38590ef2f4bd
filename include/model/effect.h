/* What the engine asks the outside to do. A golden file is these, printed. */
#ifndef LENTIC_MODEL_EFFECT_H
#define LENTIC_MODEL_EFFECT_H

#include "model/alert.h"
#include "model/calib.h"
#include "model/journal.h"
#include "model/reading.h"
#include "model/sample.h"

enum effect_kind {
    EFFECT_READING, /* store (or revise) a reading */
    EFFECT_ALERT,   /* an alert changed: store at once, publish, perhaps send */
    EFFECT_EVENT,   /* something worth keeping that asks for nothing */
    EFFECT_TANK,    /* the tank's document is out of date */
    EFFECT_JOURNAL, /* a journal entry to store at once */
    EFFECT_CALIB,   /* a calibration to store at once, or the last one to take back */
    EFFECT_DEVICE,  /* a device stands at a place since then: to store at once */
};

enum event_kind {
    EVENT_CHANGE_SEEN, /* water change recognised */
    EVENT_TOPOFF_SEEN,
    EVENT_SERVICE_BEGIN,
    EVENT_SERVICE_END,
    EVENT_SERVICE_STEP, /* what the work changed */
    EVENT_UNLEARNT,
    EVENT_PROBE_LATE,
    EVENT_CONFLICT,
    EVENT_RETAINED_IGNORED,
    EVENT_REJECTED,
    EVENT_COMMAND,
    EVENT_FORECAST, /* as told */
    EVENT_FORECAST_SCORED,
    EVENT_CLOCK,
    EVENT_CALIBRATED,
    EVENT_DOUBT,     /* probe and hand test cannot both be right */
    EVENT_EXCHANGED, /* another device at the place */
    EVENT_CHATTER_BEGIN,
    EVENT_CHATTER_END,
    EVENT_HABIT,
    EVENT_FLOOD_BEGIN,
    EVENT_FLOOD_END,
    EVENT_SHELF_ENDS, /* soon, and the alert is active */
    EVENT_TEST,       /* somebody tries whether messages arrive */
    EVENT_TEST_RESULT,
    EVENT_COUNT
};

const char *event_kind_name(enum event_kind k);

struct event {
    enum event_kind kind;
    int place;              /* -1 none */
    enum quantity quantity; /* Q_COUNT none */
    double value;
    char text[200];
};

struct effect {
    enum effect_kind kind;
    utc_t t; /* when it happened: the engine's now */
    union {
        struct reading reading;
        struct {
            enum alert_change change;
            bool announce; /* false: record only */
            struct alert alert;
        } alert;
        struct event event;
        int tank;
        struct journal_entry journal; /* with withdraws: that entry no longer counts, and no new one */
        struct {
            int stream;
            bool undone; /* the last one no longer counts; calib is what counts now */
            struct calib calib;
            utc_t back_to; /* stored readings from then on are to be reckoned again; UTC_NONE */
        } calib;
        struct {
            int stream;
            char id[DEVICE_MAX];
            utc_t since;
        } device;
    } u;
};

/* Room for everything one input or one timer step can cause. */
#define EFFECTS_MAX 256

struct effects {
    size_t count;
    size_t lost; /* must stay 0: a bug otherwise, counted and told */
    struct effect items[EFFECTS_MAX];
};

#endif
