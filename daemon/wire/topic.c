#include "wire/topic.h"

#include <string.h>

#include "base/checksum.h"
#include "model/message.h"
#include "model/pattern.h"

/* Usual length of a topic, for the room of the texts; a longer one takes the room of several. */
#define USUAL_TOPIC_BYTES 64

struct seen {
    uint64_t hash;
    uint32_t text_at, text_len; /* text_len 0: a free slot, since no topic is empty */
    uint32_t target_at, target_count;
};

/* An entry's place by its id: where an entry serves thousands, they are not tried one by one. */
struct by_id {
    uint64_t hash;
    struct topic_target target;
    bool taken;
};

struct topics {
    const struct site *site;
    struct seen *slots; /* open addressing; never more than three quarters full */
    size_t slot_count;  /* a power of two */
    size_t known, known_max;
    size_t nobodys, nobodys_max; /* kept apart: foreign topics must not crowd out those of probes */
    char *texts;
    size_t text_used, text_cap;
    struct topic_target *targets;
    size_t target_used, target_cap;
    struct topic_target *scratch;
    struct by_id *places; /* of the entries whose capture names the place itself; open addressing, a quarter
                             full at the most */
    size_t place_slots;   /* a power of two */
    bool *by_id;          /* by entry: it is found there */
};

static size_t expected_topics(const struct site *site)
{
    size_t count = 0;
    for (int e = 0; e < site->entry_count; e++)
        count += (size_t)site->entries[e].place_count;
    return count;
}

/* Then a topic can belong to one place of it at the most. */
static bool names_its_place(const struct site *site, const struct probe_entry *entry)
{
    for (int p = 0; p < entry->place_count; p++)
        if (site->places[entry->places[p]].kind != entry->capture)
            return false;
    return entry->place < 0;
}

static struct by_id *place_for(const struct topics *t, int entry, const char *id, size_t n)
{
    uint64_t hash = checksum_fnv(id, n) + (uint64_t)entry;
    for (size_t at = (size_t)hash & (t->place_slots - 1);; at = (at + 1) & (t->place_slots - 1)) {
        struct by_id *slot = &t->places[at];
        if (!slot->taken) {
            slot->hash = hash;
            return slot;
        }
        const char *own =
            t->site->places[t->site->entries[slot->target.entry].places[slot->target.place_index]].id;
        if (slot->hash == hash && slot->target.entry == entry && strlen(own) == n && memcmp(own, id, n) == 0)
            return slot;
    }
}

static void index_places(struct topics *t, struct arena *arena)
{
    t->place_slots = 64;
    while (t->place_slots < 4 * expected_topics(t->site))
        t->place_slots *= 2;
    t->places = arena_take(arena, t->place_slots, sizeof *t->places);
    t->by_id = arena_take(arena, (size_t)t->site->entry_count, sizeof *t->by_id);
    for (int e = 0; e < t->site->entry_count; e++) {
        const struct probe_entry *entry = &t->site->entries[e];
        t->by_id[e] = names_its_place(t->site, entry);
        if (!t->by_id[e])
            continue;
        for (int p = 0; p < entry->place_count; p++) {
            const char *id = t->site->places[entry->places[p]].id;
            struct by_id *slot = place_for(t, e, id, strlen(id));
            slot->target = (struct topic_target){ e, p };
            slot->taken = true;
        }
    }
}

struct topics *topics_init(const struct site *site, struct arena *arena)
{
    struct topics *t = arena_take(arena, 1, sizeof *t);
    size_t want = 2 * (expected_topics(site) + 64);
    t->site = site;
    t->slot_count = 128;
    while (t->slot_count < want)
        t->slot_count *= 2;
    t->known_max = t->slot_count / 2;
    t->nobodys_max = t->slot_count / 4;
    t->text_cap = (t->known_max + t->nobodys_max) * USUAL_TOPIC_BYTES;
    t->target_cap = t->slot_count;
    t->slots = arena_take(arena, t->slot_count, sizeof *t->slots);
    t->texts = arena_take(arena, t->text_cap, 1);
    t->targets = arena_take(arena, t->target_cap, sizeof *t->targets);
    t->scratch = arena_take(arena, expected_topics(site), sizeof *t->scratch);
    index_places(t, arena);
    return t;
}

/* The slot that holds the topic, or the free one where it belongs. */
static struct seen *slot_for(struct topics *t, const char *topic, size_t n, uint64_t hash)
{
    size_t at = (size_t)hash & (t->slot_count - 1);
    for (;; at = (at + 1) & (t->slot_count - 1)) {
        struct seen *slot = &t->slots[at];
        if (slot->text_len == 0)
            return slot;
        if (slot->hash == hash && slot->text_len == n && memcmp(t->texts + slot->text_at, topic, n) == 0)
            return slot;
    }
}

static size_t match_place(struct topics *t, int e, int p, const char *topic, size_t n, size_t count)
{
    const struct probe_entry *entry = &t->site->entries[e];
    if (!pattern_match(entry->topic, t->site, entry->places[p], topic, n))
        return count;
    t->scratch[count] = (struct topic_target){ e, p };
    return count + 1;
}

static size_t match_all(struct topics *t, const char *topic, size_t n)
{
    size_t count = 0;
    const char *id;
    for (int e = 0; e < t->site->entry_count; e++) {
        const struct probe_entry *entry = &t->site->entries[e];
        if (t->by_id[e]) {
            size_t len = pattern_captured(entry->topic, entry->capture, topic, n, &id);
            const struct by_id *slot = len == 0 ? NULL : place_for(t, e, id, len);
            if (slot != NULL && slot->taken)
                count = match_place(t, e, slot->target.place_index, topic, n, count);
        } else {
            for (int p = 0; p < entry->place_count; p++)
                count = match_place(t, e, p, topic, n, count);
        }
    }
    return count;
}

static bool has_room(const struct topics *t, size_t text_len, size_t count)
{
    bool slot_left = count > 0 ? t->known < t->known_max : t->nobodys < t->nobodys_max;
    return slot_left && t->text_cap - t->text_used >= text_len && t->target_cap - t->target_used >= count;
}

static void remember(struct topics *t, struct seen *slot, const char *topic, size_t n, uint64_t hash,
                     size_t count)
{
    *slot =
        (struct seen){ hash, (uint32_t)t->text_used, (uint32_t)n, (uint32_t)t->target_used, (uint32_t)count };
    memcpy(t->texts + t->text_used, topic, n);
    if (count > 0)
        memcpy(t->targets + t->target_used, t->scratch, count * sizeof *t->scratch);
    t->text_used += n;
    t->target_used += count;
    if (count > 0)
        t->known++;
    else
        t->nobodys++;
}

int topics_find(struct topics *t, const char *topic, size_t n, const struct topic_target **out)
{
    *out = t->scratch;
    if (n == 0 || n > MESSAGE_TOPIC_MAX)
        return 0;
    uint64_t hash = checksum_fnv(topic, n);
    struct seen *slot = slot_for(t, topic, n, hash);
    if (slot->text_len == 0) {
        size_t count = match_all(t, topic, n);
        if (!has_room(t, n, count))
            return (int)count;
        remember(t, slot, topic, n, hash, count);
    }
    *out = t->targets + slot->target_at;
    return (int)slot->target_count;
}
