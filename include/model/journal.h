/* The journal: what people did, measured and saw, one entry each. Names stand in it as text, so that an entry
 * outlives the configuration it was written under. An entry is never deleted: a correction takes its place,
 * or it is withdrawn with a reason; both stay readable. */
#ifndef LENTIC_MODEL_JOURNAL_H
#define LENTIC_MODEL_JOURNAL_H

#include <stdbool.h>
#include "base/text.h"
#include "model/alert.h"
#include "model/names.h"
#include "model/quantity.h"

enum journal_kind {
    JOURNAL_TEST,    /* hand test: values */
    JOURNAL_CHANGE,  /* water change: litres, of which water and batch */
    JOURNAL_TOPOFF,  /* litres against evaporation */
    JOURNAL_BATCH,   /* a water mixed: litres, grams of each salt, values measured in it */
    JOURNAL_FEEDING, /* grams, of what */
    JOURNAL_ANIMALS, /* counts, births, deaths, moves */
    JOURNAL_CLEANING,
    JOURNAL_REMARK,
    JOURNAL_CALIBRATION, /* of a probe; written by the engine, as the next */
    JOURNAL_EXCHANGE,    /* another device stands there */
    JOURNAL_LEARNT,      /* a figure learnt from batches that a keeper accepted */
    JOURNAL_KIND_COUNT
};

enum journal_role { JOURNAL_VALUE, JOURNAL_SALT, JOURNAL_HEAD, JOURNAL_FIGURE, JOURNAL_ROLE_COUNT };

/* What is counted of animals. The first three are what stands in the tank at that time, the others happened
 * since. */
enum journal_head {
    HEADS_ADULTS,
    HEADS_SHRIMPLETS,
    HEADS_BERRIED, /* females that carry eggs */
    HEADS_BORN,
    HEADS_DEAD,
    HEADS_IN,
    HEADS_OUT,
    HEADS_COUNT
};

#define JOURNAL_ITEMS_MAX 16
#define JOURNAL_WORD_MAX  48
#define JOURNAL_TEXT_MAX  160

struct journal_item {
    enum journal_role role;
    char name[ID_MAX + 8]; /* quantity, salt's id, head's name; of a learnt figure "ec", "gh", "kh", "tds" */
    double amount;         /* stored unit, grams, heads */
    double sd;             /* one standard uncertainty of a value or figure; NaN: not said */
};

struct journal_entry {
    int64_t id; /* 0: not numbered yet */
    enum journal_kind kind;
    utc_t at, written;          /* when it happened, when it was told */
    char place[PLACE_TEXT_MAX]; /* "tank/a1"; empty: none */
    char water[ID_MAX];         /* batch, learnt: of which; change: which was put in; empty: not said */
    int64_t batch;              /* change, top-off: the batch it was made from; 0: not known */
    double litres, grams;       /* NaN: not said */
    struct journal_item items[JOURNAL_ITEMS_MAX];
    int item_count;
    char kit[JOURNAL_WORD_MAX], lot[JOURNAL_WORD_MAX];
    char other[JOURNAL_WORD_MAX]; /* animals: where they came from or went to; learnt: the salt, empty for a
                                     water's own figure */
    char who[ALERT_WHO_MAX];
    char text[JOURNAL_TEXT_MAX];
    int64_t corrects;  /* the entry this one takes the place of; 0: none */
    int64_t withdraws; /* a request only: that entry no longer counts, text says why; 0: none */

    int64_t superseded_by; /* as stored; 0: it counts */
    utc_t withdrawn;       /* as stored; UTC_NONE: it counts */
    char withdrawn_by[ALERT_WHO_MAX], withdrawn_why[JOURNAL_TEXT_MAX];
};

void journal_clear(struct journal_entry *e);
bool journal_counts(const struct journal_entry *e); /* neither superseded nor withdrawn */

const char *journal_kind_name(enum journal_kind k);
const char *journal_role_name(enum journal_role r);
const char *journal_head_name(enum journal_head h);
/* Also by other words in use ("livestock", "fed", "water-change"). JOURNAL_KIND_COUNT, JOURNAL_ROLE_COUNT,
 * HEADS_COUNT: unknown. */
enum journal_kind journal_kind_find(const char *name, size_t n);
enum journal_role journal_role_find(const char *name, size_t n);
enum journal_head journal_head_find(const char *name, size_t n);

/* NULL: there is none of that role and name. */
const struct journal_item *journal_item(const struct journal_entry *e, enum journal_role role,
                                        const char *name);
double journal_amount(const struct journal_entry *e, enum journal_role role, const char *name); /* NaN */
/* Sets or adds it. STATUS_FULL: no room. */
enum status journal_put(struct journal_entry *e, enum journal_role role, const char *name, double amount,
                        double sd) LENTIC_CHECKED;

/* One line for people, without time, place and who: "test gh 6 °dH, kh 3 °dH, kit drops-1". */
void journal_words(const struct journal_entry *e, struct text *out);

#endif
