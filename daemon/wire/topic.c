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
};

static size_t expected_topics(const struct site *site)
{
    size_t count = 0;
    for (int e = 0; e < site->entry_count; e++)
        count += (size_t)site->entries[e].place_count;
    return count;
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

static size_t match_all(struct topics *t, const char *topic, size_t n)
{
    size_t count = 0;
    for (int e = 0; e < t->site->entry_count; e++) {
        const struct probe_entry *entry = &t->site->entries[e];
        for (int p = 0; p < entry->place_count; p++)
            if (pattern_match(entry->topic, t->site, entry->places[p], topic, n))
                t->scratch[count++] = (struct topic_target){ e, p };
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
