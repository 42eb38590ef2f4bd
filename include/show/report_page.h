/* The report of a stretch of time as one HTML page: the room at a glance, the alerts that stand, and a sheet
 * for each place with curves, figures, hand tests, journal, alerts and calibrations. It needs nothing but
 * itself: no scripts, no other files. It is written in parts, so that its size is bounded by the part. */
#ifndef LENTIC_SHOW_REPORT_PAGE_H
#define LENTIC_SHOW_REPORT_PAGE_H

#include "model/journal.h"
#include "show/curve.h"
#include "show/notices.h"

#define REPORT_PART_MAX (4u << 20) /* bytes that suffice for each part */

/* One quantity at one place. */
struct report_series {
    enum quantity quantity;
    bool probed;                /* a probe is configured there, or there are readings */
    struct tally_point *points; /* oldest first */
    int count;
    struct tally tally;
    struct span band;
    double day_range; /* that the animals bear; NaN */
    int64_t break_ms; /* as curve.break_ms */
    double now;       /* the last value: of the service where it answered, else of the store; NaN */
    utc_t now_t;      /* UTC_NONE */
};

/* A stretch in which an alert was active. */
struct report_spell {
    int place; /* index into the site's places; -1: none of them any more */
    struct notice n;
    enum quantity axis;                  /* in whose curve it belongs; Q_COUNT: none */
    utc_t ended;                         /* UTC_NONE: still active when the span ended */
    bool sent;                           /* people were told */
    char begun_with[ALERT_EVIDENCE_MAX]; /* evidence of the raise; n has the newest */
};

struct report_work {
    int place;
    struct curve_stretch stretch;
};

struct report_change {
    int place;
    struct curve_mark mark;
    double step_ec; /* seen by the probes; NaN */
};

struct report_test {
    int place;
    utc_t t;
    enum quantity quantity;
    double value, sd; /* sd NaN: not said */
    char kit[JOURNAL_WORD_MAX], who[ALERT_WHO_MAX];
};

struct report_note {
    int place; /* -1: of the room, or of a place that is gone */
    int64_t id;
    utc_t t;
    char words[400], who[ALERT_WHO_MAX];
};

struct report_calibration {
    int place;
    const char *probe; /* name of the stream */
    enum quantity quantity;
    double every_d;
    utc_t last; /* UTC_NONE: never here */
};

struct report_place {
    int place; /* index into the site's places */
    struct report_series series[Q_COUNT];
    int series_count;
    char forecast[240]; /* "below 20.5 °C in about 2 h"; "" */
};

struct report_page {
    const struct site *site;
    const char *version;
    utc_t from, to, made;
    const char *zone;    /* "CET": of every time in it */
    const char *sources; /* what it was made from, and what could not be reached */
    const char *(*clock)(utc_t t, char *buf, size_t cap); /* "Tue 2026-03-03 14:05", local */
    const struct curve_tick *ticks;
    int tick_count;
    struct report_place *places; /* in the order of the sheets */
    int place_count;
    bool whole;              /* all places: not only those that were asked for */
    struct notice *standing; /* most urgent first */
    int standing_count;
    bool standing_live;          /* from the service; else as the store has it at the end of the span */
    struct report_spell *spells; /* these and the following: oldest first */
    int spell_count;
    struct report_work *work;
    int work_count;
    struct report_change *changes;
    int change_count;
    struct report_test *tests;
    int test_count;
    struct report_note *notes;
    int note_count;
    struct report_calibration *calibrations;
    int calibration_count;
};

/* The parts in their order; head ends before the first sheet. */
void report_page_head(const struct report_page *page, struct text *out);
void report_page_sheet(const struct report_page *page, int index, struct text *out);
void report_page_foot(const struct report_page *page, struct text *out);

/* What a keeper should look at there, most urgent first, as words parted by "; ". */
enum report_rank {
    REPORT_QUIET,
    REPORT_STOOD_OUT,
    REPORT_STANDS_LOW, /* an alert of that priority stands there */
    REPORT_STANDS_MEDIUM,
    REPORT_STANDS_HIGH,
    REPORT_RANK_COUNT
};
enum report_rank report_page_rank(const struct report_page *page, int index, struct text *why);

/* "tank-a1": of the sheet's anchor. */
void report_page_anchor(const struct site *site, int place, struct text *out);

/* "a1 Crystals", "a1" when it has no name of its own, "room". */
void report_page_name(const struct site *site, int place, struct text *out);

/* The style sheet, and the drawing's pattern. */
extern const char report_style[];
extern const char report_patterns[];

#endif
