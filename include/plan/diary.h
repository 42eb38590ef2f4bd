/* What the journal tells a plan: per tank changes, top-offs and hand tests, per water the batch mixed last,
 * per salt what was weighed, per source what was tested in it. Entries are taken in any order; those that
 * count no longer are passed over. */
#ifndef LENTIC_PLAN_DIARY_H
#define LENTIC_PLAN_DIARY_H

#include "model/journal.h"
#include "model/site.h"
#include "model/source_water.h"

#define DIARY_DAYS        90 /* of the journal that a plan wants to see; tests and stocks may be older */
#define DIARY_TOPOFF_DAYS 21 /* over which top-offs by hand are averaged */

struct diary_test {
    utc_t t, t_before; /* newest and the one before; UTC_NONE */
    double value, before;
};

struct diary_tank {
    utc_t changed; /* UTC_NONE */
    double changed_l;
    utc_t topped, topped_first; /* newest, and oldest within DIARY_TOPOFF_DAYS; UTC_NONE */
    double topped_l;            /* within these days */
    double topped_first_l;
    int topped_count;
    struct diary_test tests[Q_COUNT];
};

struct diary_water {
    int64_t batch; /* the last that was mixed; 0: none */
    utc_t t;
    double litres, ec, gh, kh; /* NaN: not measured */
    double used_l;             /* in changes made from it */
};

#define DIARY_SOURCE_TESTS 24

/* A source: its hand tests of a year, the supplier's analysis among them. */
struct diary_source {
    struct source_value tests[Q_COUNT];
    struct {
        utc_t t;
        double ec, sd;
    } ec[DIARY_SOURCE_TESTS]; /* the newest of them, newest first */
    int ec_count;
    utc_t renewed;           /* membrane or resin, noted as cleaning; UTC_NONE */
    struct source_live live; /* by its probe: the caller puts it there */
};

struct diary_salt {
    double since_stock_g; /* weighed since the stock was */
    double weighed_g;     /* within DIARY_DAYS */
    utc_t first, last;    /* batches within DIARY_DAYS; UTC_NONE */
    double first_g;       /* by the oldest of them */
    int batches;
};

/* A container of mixed water. */
struct diary_store {
    double level_mm; /* by its probe: the caller puts it there; NaN */
};

/* The caller's arrays, one element for each tank, water, salt, source and store of the site. */
struct diary {
    const struct site *site;
    utc_t now;
    struct diary_tank *tanks;
    struct diary_water *waters;
    struct diary_salt *salts;
    struct diary_source *sources;
    struct diary_store *stores;
};

/* Kinds of entries that a plan rests on; how far back it wants to see them. */
#define DIARY_KINDS 5 /* batches before what was made from them */
enum journal_kind diary_kind(int index);
utc_t diary_from(const struct diary *diary, enum journal_kind kind);

/* Forgets what was noted; what probes said stays. */
void diary_init(struct diary *diary);
void diary_take(struct diary *diary, const struct journal_entry *e);

/* Litres a day by top-offs noted; NaN: fewer than three, or over less than four days. */
double diary_topoff_l_day(const struct diary *diary, int tank);

/* Grams a day by batches noted; NaN: fewer than two, or over less than ten days. */
double diary_salt_g_day(const struct diary *diary, int salt);

#endif
