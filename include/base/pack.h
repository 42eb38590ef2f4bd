/* State written and read by one and the same function.
 *
 * A module lists its fields once, in a visit function; the pack carries the direction. When reading, each
 * field names its range: state that comes back is untrusted input, and one field out of range fails the whole
 * section, which the module then starts afresh. Little-endian, sections with name, length and checksum, so
 * that an unknown or damaged section is stepped over. */
#ifndef LENTIC_BASE_PACK_H
#define LENTIC_BASE_PACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "base/times.h"

struct pack {
    bool reading;
    bool bad; /* overflow while writing, or a field that is damaged or out of range while reading */
    uint8_t *bytes;
    size_t cap; /* room when writing, length when reading */
    size_t at;
};

struct pack pack_writer(uint8_t *bytes, size_t cap);
struct pack pack_reader(const uint8_t *bytes, size_t len);

void pack_f64(struct pack *p, double *v, double lo, double hi); /* NaN passes: "not known" is a value */
void pack_f32(struct pack *p, float *v, float lo, float hi);    /* as well */
void pack_i64(struct pack *p, int64_t *v, int64_t lo, int64_t hi);
void pack_i32(struct pack *p, int32_t *v, int32_t lo, int32_t hi);
void pack_count(struct pack *p, int32_t *v, int32_t lo, int32_t hi); /* lo at least 0; one byte below 128 */
void pack_u32(struct pack *p, uint32_t *v);
void pack_u64(struct pack *p, uint64_t *v);
void pack_bool(struct pack *p, bool *v);
void pack_text(struct pack *p, char *s, size_t cap);
void pack_utc(struct pack *p, utc_t *t);

/* Boot-clock times survive as wall times: the boot clock of the next run has another zero. */
void pack_mono(struct pack *p, mono_t *t, struct now now);

/* Writing: pack_begin puts the name and a hole for the length, pack_end fills it in. */
size_t pack_begin(struct pack *p, const char *name);
void pack_end(struct pack *p, size_t mark);

/* Reading: hands out the next sound section as a reader of its own; false at the end. Damaged ones are
 * counted in *damaged (may be NULL) and stepped over. name must hold PACK_NAME_MAX bytes. */
#define PACK_NAME_MAX 160
bool pack_next(struct pack *p, char *name, struct pack *section, unsigned *damaged);

#endif
