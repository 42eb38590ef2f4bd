/* What goes wrong in a rehearsal, when and how badly: NAME@WHERE,at=TIME[,for=TIME][,size=X][,of=QUANTITY].
 *
 * WHERE is tank=ID, rack=ID, circuit=ID, water=ID, source=ID or room. A tank also stands for its own rack,
 * circuit, water or source when the fault concerns one of those. TIME as 90s, 30m, 6h, 2d from the start. */
#ifndef LENTIC_REHEARSE_MISHAP_H
#define LENTIC_REHEARSE_MISHAP_H

#include <stdbool.h>
#include "base/status.h"
#include "model/site.h"

enum mishap_kind {
    MISHAP_HEATER_DEAD,
    MISHAP_HEATER_STUCK,
    MISHAP_HEATER_WEAK,
    MISHAP_CIRCUIT_LOST,
    MISHAP_RACK_LOST,
    MISHAP_ROOM_COLD,
    MISHAP_ROOM_HOT,
    MISHAP_TOPOFF_STOPPED,
    MISHAP_TOPOFF_MINERALS,
    MISHAP_TOPOFF_OVER,
    MISHAP_LEAK,
    MISHAP_BAD_BATCH,
    MISHAP_WASTE,
    MISHAP_SOURCE_WORN,
    MISHAP_OUT_OF_WATER,
    MISHAP_SILENT,
    MISHAP_STUCK,
    MISHAP_NOISY,
    MISHAP_EC_DRIFTING,
    MISHAP_PH_DRIFTING,
    MISHAP_COUNT
};

enum mishap_scope {
    MISHAP_OF_TANK,
    MISHAP_OF_RACK,
    MISHAP_OF_CIRCUIT,
    MISHAP_OF_ROOM,
    MISHAP_OF_WATER,
    MISHAP_OF_SOURCE
};

struct mishap_info {
    const char *name;
    enum mishap_scope scope;
    double size;        /* usual one; NaN: the fault has none */
    double least, most; /* of the size */
    enum quantity of;   /* Q_COUNT: every probe of the tank */
    const char *about;  /* what it does, and what size means with its unit */
};

const struct mishap_info *mishap_info(enum mishap_kind kind);

struct mishap {
    enum mishap_kind kind;
    int target;         /* tank or water index, or place index of rack, circuit, source, room */
    enum quantity of;   /* which probes; Q_COUNT: all */
    double at_s, for_s; /* from the start; for_s INFINITY: to the end */
    double size;
};

/* STATUS_INVALID with a sentence that names the nearest fault or place. */
enum status mishap_parse(const struct site *site, const char *text, struct mishap *out,
                         struct why *why) LENTIC_CHECKED;

/* t_s from the start. */
bool mishap_active(const struct mishap *f, double t_s);

/* Whether the fault touches that tank at all. */
bool mishap_touches(const struct site *site, const struct mishap *f, int tank);

/* The place the fault sits at, for the truth record: "tank/a1", "room". */
const char *mishap_place(const struct site *site, const struct mishap *f);

#endif
