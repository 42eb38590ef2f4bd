/* The gate: every record of one stream gets its verdict, one at a time, causally. QUALITY.md is the
 * definition (after the public IOOS QARTOD manuals). Only the spike verdict of a record is revised later,
 * when its usable successor arrives in the same segment. */
#ifndef LENTIC_ENGINE_GATE_H
#define LENTIC_ENGINE_GATE_H

#include "base/arena.h"
#include "base/pack.h"
#include "model/quantity.h"
#include "model/reading.h"
#include "model/sample.h"

/* Records remembered to tell a duplicate (same time, same number sent) from a conflict and from a late one.
 */
#define GATE_RECENT 256

struct gate_known {
    int64_t t_ms[GATE_RECENT];
    uint32_t sent_hash[GATE_RECENT];
};

/* Extremes of the flat run, oldest first; each record stands for those before it that it outdoes. */
struct gate_extreme {
    int64_t t_ms, next_ms; /* next_ms: time of the record that followed this one */
    double v;
};

#define GATE_NEAR 8

/* A short run, as of nearly every probe, stands near; a long one in a block of its own, which costs no memory
 * until it is needed. */
struct gate_run {
    struct gate_extreme near[GATE_NEAR], *far;
    bool is_far;
    int first, count, cap; /* cap: of far */
};

struct gate_point {
    int64_t t_ms;
    double v;
};

struct gate {
    const struct gate_limits *limits;
    utc_t newest;                   /* newest record of any kind */
    struct gate_point last, before; /* last two usable records */
    int32_t segment_count;          /* usable records in the segment so far, stops counting at 3 */
    struct gate_run highest, lowest;
    int64_t flat_since_ms; /* the k of the flat line test */
    struct gate_point
        *window; /* usable records of the attenuated window, a ring; NULL when that test is off */
    int window_cap, window_first, window_count;
    struct reading pending; /* last usable record, its spike verdict still open */
    bool has_pending;
    struct gate_known recent;
    int32_t recent_count, recent_at;
};

enum gate_arrival { GATE_TAKEN, GATE_LATE, GATE_DUPLICATE, GATE_CONFLICT };

/* every_s: expected cadence, NaN when not known; sizes the windows. */
void gate_init(struct gate *g, const struct gate_limits *limits, double every_s, struct arena *arena);

/* Judges r (t, sent, value set; kind tells missing and syntax): fills tests, flag and late. twin: last usable
 * record of the partner, NULL when there is none. When the spike verdict of the pending record settles,
 * *revised is that reading and *has_revised true. GATE_DUPLICATE and GATE_CONFLICT: r is nothing new and must
 * not be stored. */
enum gate_arrival gate_judge(struct gate *g, struct reading *r, enum sample_kind kind,
                             const struct gate_point *twin, struct reading *revised, bool *has_revised);

/* True when r, just judged as GATE_TAKEN, is usable: present and gross is not 4. */
bool gate_usable(const struct reading *r);

void gate_visit(struct gate *g, struct pack *p);
/* A judged reading; its stream, lateness and revision are the owner's to know. */
void gate_visit_reading(struct reading *r, struct pack *p);

#endif
