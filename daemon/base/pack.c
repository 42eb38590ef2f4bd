#include "base/pack.h"

#include <math.h>
#include <string.h>

#include "base/checksum.h"

/* A section: mark, length of the name, length of the body, checksum of all that follows it, name, body. The
 * mark lets a reader find the next section behind a damaged one. */
#define SECTION_MARK UINT32_C(0x4B43504C) /* "LPCK" */
#define SECTION_HEAD 16
#define CHECKSUM_AT  12

/* What a wall time may be after a restart: a box without a clock starts in 1970, before its network time. */
#define WALL_LIMIT UTC_CEIL.ms

struct pack pack_writer(uint8_t *bytes, size_t cap)
{
    return (struct pack){ .reading = false, .bytes = bytes, .cap = cap };
}

/* The bytes are only looked at: no field function writes them while reading. */
struct pack pack_reader(const uint8_t *bytes, size_t len)
{
    return (struct pack){ .reading = true, .bytes = (uint8_t *)(uintptr_t)bytes, .cap = len };
}

static uint64_t load(const uint8_t *bytes, size_t n)
{
    uint64_t v = 0;
    for (size_t i = 0; i < n; i++)
        v |= (uint64_t)bytes[i] << (8 * i);
    return v;
}

static void save(uint8_t *bytes, size_t n, uint64_t v)
{
    for (size_t i = 0; i < n; i++)
        bytes[i] = (uint8_t)(v >> (8 * i));
}

static bool has_room(struct pack *p, size_t n)
{
    if (p->bad || p->cap - p->at < n) {
        p->bad = true;
        return false;
    }
    return true;
}

/* One word of n bytes in the pack's direction. False when it did not fit or was not there. */
static bool word(struct pack *p, uint64_t *v, size_t n)
{
    if (!has_room(p, n))
        return false;
    if (p->reading)
        *v = load(p->bytes + p->at, n);
    else
        save(p->bytes + p->at, n, *v);
    p->at += n;
    return true;
}

void pack_f64(struct pack *p, double *v, double lo, double hi)
{
    uint64_t bits = 0;
    if (!p->reading)
        memcpy(&bits, v, sizeof bits);
    if (!word(p, &bits, sizeof bits) || !p->reading)
        return;
    double got;
    memcpy(&got, &bits, sizeof got);
    if (isnan(got) || (got >= lo && got <= hi))
        *v = got;
    else
        p->bad = true;
}

void pack_f32(struct pack *p, float *v, float lo, float hi)
{
    uint32_t bits = 0;
    if (!p->reading)
        memcpy(&bits, v, sizeof bits);
    pack_u32(p, &bits);
    if (p->bad || !p->reading)
        return;
    float got;
    memcpy(&got, &bits, sizeof got);
    if (isnan(got) || (got >= lo && got <= hi))
        *v = got;
    else
        p->bad = true;
}

void pack_i64(struct pack *p, int64_t *v, int64_t lo, int64_t hi)
{
    uint64_t bits = (uint64_t)*v;
    if (!word(p, &bits, sizeof bits) || !p->reading)
        return;
    int64_t got;
    memcpy(&got, &bits, sizeof got);
    if (got >= lo && got <= hi)
        *v = got;
    else
        p->bad = true;
}

void pack_i32(struct pack *p, int32_t *v, int32_t lo, int32_t hi)
{
    int64_t wide = *v;
    pack_i64(p, &wide, lo, hi);
    *v = (int32_t)wide;
}

/* Seven bits a byte, the lowest first; the eighth says that more follow. */
void pack_count(struct pack *p, int32_t *v, int32_t lo, int32_t hi)
{
    uint64_t rest = (uint64_t)*v, got = 0, byte = 0x80;
    for (unsigned shift = 0; shift < 35 && (byte & 0x80) != 0; shift += 7, rest >>= 7) {
        byte = (rest & 0x7f) | (rest > 0x7f ? 0x80 : 0);
        if (!word(p, &byte, 1))
            return;
        got |= (byte & 0x7f) << shift;
    }
    if (!p->reading)
        return;
    if ((byte & 0x80) == 0 && got >= (uint64_t)lo && got <= (uint64_t)hi)
        *v = (int32_t)got;
    else
        p->bad = true;
}

void pack_u32(struct pack *p, uint32_t *v)
{
    uint64_t bits = *v;
    if (word(p, &bits, sizeof *v))
        *v = (uint32_t)bits;
}

void pack_u64(struct pack *p, uint64_t *v)
{
    (void)word(p, v, sizeof *v);
}

void pack_bool(struct pack *p, bool *v)
{
    uint64_t bits = *v;
    if (!word(p, &bits, 1))
        return;
    if (bits > 1)
        p->bad = true;
    else
        *v = bits == 1;
}

void pack_text(struct pack *p, char *s, size_t cap)
{
    uint64_t n = p->reading ? 0 : strnlen(s, cap - 1);
    if (!word(p, &n, 4) || !has_room(p, (size_t)n))
        return;
    if (!p->reading) {
        memcpy(p->bytes + p->at, s, (size_t)n);
    } else if (n >= cap || memchr(p->bytes + p->at, '\0', (size_t)n) != NULL) {
        p->bad = true;
        return;
    } else {
        memcpy(s, p->bytes + p->at, (size_t)n);
        s[n] = '\0';
    }
    p->at += (size_t)n;
}

/* The two ends of the range stand for "not set" and "never" and pass as they are. */
static bool is_special(int64_t ms)
{
    return ms == INT64_MIN || ms == INT64_MAX;
}

static void wall_ms(struct pack *p, int64_t *ms)
{
    int64_t got = *ms;
    pack_i64(p, &got, INT64_MIN, INT64_MAX);
    if (p->bad)
        return;
    if (is_special(got) || (got >= -WALL_LIMIT && got <= WALL_LIMIT))
        *ms = got;
    else
        p->bad = true;
}

void pack_utc(struct pack *p, utc_t *t)
{
    wall_ms(p, &t->ms);
}

void pack_mono(struct pack *p, mono_t *t, struct now now)
{
    int64_t ms = t->ms;
    if (!p->reading && !is_special(ms))
        ms = utc_of_mono(*t, now).ms;
    wall_ms(p, &ms);
    if (p->reading && !p->bad)
        *t = is_special(ms) ? (mono_t){ ms } : mono_of_utc((utc_t){ ms }, now);
}

size_t pack_begin(struct pack *p, const char *name)
{
    size_t mark = p->at;
    size_t n = strnlen(name, PACK_NAME_MAX - 1);
    if (!has_room(p, SECTION_HEAD + n))
        return mark;
    save(p->bytes + mark, 4, SECTION_MARK);
    save(p->bytes + mark + 4, 4, n);
    memcpy(p->bytes + mark + SECTION_HEAD, name, n);
    p->at += SECTION_HEAD + n;
    return mark;
}

/* Covers the lengths too: a flipped bit there must not send the reader astray. */
static uint32_t section_checksum(const uint8_t *section, size_t name_len, size_t body_len)
{
    uint32_t crc = checksum_crc32(0, section, CHECKSUM_AT);
    return checksum_crc32(crc, section + SECTION_HEAD, name_len + body_len);
}

void pack_end(struct pack *p, size_t mark)
{
    if (p->bad)
        return;
    uint8_t *section = p->bytes + mark;
    size_t name_len = (size_t)load(section + 4, 4);
    size_t body_len = p->at - mark - SECTION_HEAD - name_len;
    save(section + 8, 4, body_len);
    save(section + CHECKSUM_AT, 4, section_checksum(section, name_len, body_len));
}

static bool open_section(struct pack *p, char *name, struct pack *section)
{
    const uint8_t *bytes = p->bytes + p->at;
    size_t left = p->cap - p->at;
    if (left < SECTION_HEAD || load(bytes, 4) != SECTION_MARK)
        return false;
    size_t name_len = (size_t)load(bytes + 4, 4);
    size_t body_len = (size_t)load(bytes + 8, 4);
    if (name_len >= PACK_NAME_MAX || body_len > left || left - SECTION_HEAD < name_len + body_len)
        return false;
    if (load(bytes + CHECKSUM_AT, 4) != section_checksum(bytes, name_len, body_len))
        return false;
    memcpy(name, bytes + SECTION_HEAD, name_len);
    name[name_len] = '\0';
    *section = pack_reader(bytes + SECTION_HEAD + name_len, body_len);
    p->at += SECTION_HEAD + name_len + body_len;
    return true;
}

static size_t next_mark(const struct pack *p, size_t from)
{
    for (size_t at = from; at + 4 <= p->cap; at++)
        if (load(p->bytes + at, 4) == SECTION_MARK)
            return at;
    return p->cap;
}

bool pack_next(struct pack *p, char *name, struct pack *section, unsigned *damaged)
{
    while (p->at < p->cap) {
        if (open_section(p, name, section))
            return true;
        p->at = next_mark(p, p->at + 1);
        if (damaged != NULL)
            (*damaged)++;
    }
    return false;
}
