/* What goes wrong in a rehearsal, when and how badly: NAME@WHERE,at=TIME[,for=TIME][,size=X][,of=QUANTITY].
 *
 * WHERE is tank=ID, rack=ID, circuit=ID, water=ID, source=ID or room. A tank also stands for its own rack,
 * circuit, water or source when the fault concerns one of those. TIME as 90s, 30m, 6h, 2d from the start. */
#ifndef LENTIC_REHEARSE_FAULT_H
#define LENTIC_REHEARSE_FAULT_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"

enum fault_kind {
    FAULT_HEATER_DEAD,
    FAULT_HEATER_STUCK,
    FAULT_HEATER_WEAK,
    FAULT_CIRCUIT_LOST,
    FAULT_RACK_LOST,
    FAULT_ROOM_COLD,
    FAULT_ROOM_HOT,
    FAULT_TOPOFF_STOPPED,
    FAULT_TOPOFF_MINERALS,
    FAULT_TOPOFF_OVER,
    FAULT_LEAK,
    FAULT_BAD_BATCH,
    FAULT_WASTE,
    FAULT_SOURCE_WORN,
    FAULT_OUT_OF_WATER,
    FAULT_SILENT,
    FAULT_STUCK,
    FAULT_NOISY,
    FAULT_EC_DRIFTING,
    FAULT_PH_DRIFTING,
    FAULT_COUNT
};

enum fault_scope {
    FAULT_OF_TANK,
    FAULT_OF_RACK,
    FAULT_OF_CIRCUIT,
    FAULT_OF_ROOM,
    FAULT_OF_WATER,
    FAULT_OF_SOURCE
};

struct fault_info {
    const char *name;
    enum fault_scope scope;
    double size;        /* usual one; NaN: the fault has none */
    double least, most; /* of the size */
    enum quantity of;   /* Q_COUNT: every probe of the tank */
    const char *about;  /* what it does, and what size means with its unit */
};

const struct fault_info *fault_info(enum fault_kind kind);

struct fault {
    enum fault_kind kind;
    int target;         /* tank or water index, or place index of rack, circuit, source, room */
    enum quantity of;   /* which probes; Q_COUNT: all */
    double at_s, for_s; /* from the start; for_s INFINITY: to the end */
    double size;
};

/* STATUS_INVALID with a sentence that names the nearest fault or place. */
enum status fault_parse(const struct site *site, const char *text, struct fault *out,
                        struct why *why) LENTIC_CHECKED;

/* t_s from the start. */
bool fault_active(const struct fault *f, double t_s);

/* Whether the fault touches that tank at all. */
bool fault_touches(const struct site *site, const struct fault *f, int tank);

/* The place the fault sits at, for the truth record: "tank/a1", "room". */
const char *fault_place(const struct site *site, const struct fault *f);

#endif
