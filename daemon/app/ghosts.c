#include "app/ghosts.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"

static int by_hash(const void *a, const void *b)
{
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;
    return x < y ? -1 : x > y;
}

/* Sorted hashes of the lines; the caller frees. */
static uint64_t *hash_lines(const char *list, size_t *count)
{
    size_t lines = 0;
    for (const char *c = list; *c != '\0'; c++)
        lines += *c == '\n';
    uint64_t *hashes = calloc(lines + 1, sizeof *hashes);
    if (hashes == NULL)
        abort();
    *count = lines;
    for (size_t i = 0; i < lines; i++) {
        size_t n = strcspn(list, "\n");
        hashes[i] = checksum_fnv(list, n);
        list += n + 1;
    }
    qsort(hashes, lines, sizeof *hashes, by_hash);
    return hashes;
}

static bool is_among(const uint64_t *hashes, size_t count, const char *line, size_t n)
{
    uint64_t hash = checksum_fnv(line, n);
    return bsearch(&hash, hashes, count, sizeof *hashes, by_hash) != NULL;
}

bool ghosts_withdraw(char *ghosts, const char *ours, ghosts_send *send, void *context)
{
    char topic[GHOSTS_TOPIC_MAX], *to = ghosts;
    size_t count;
    uint64_t *hashes = hash_lines(ours, &count);
    for (const char *line = ghosts; *line != '\0';) {
        size_t n = strcspn(line, "\n"), whole = n + (line[n] != '\0');
        bool ghost = n > 0 && n < sizeof topic && !is_among(hashes, count, line, n);
        snprintf(topic, sizeof topic, "%.*s", (int)n, line);
        if (ghost && (send == NULL || !send(context, topic, "", 0, true, 0))) {
            memmove(to, line, whole);
            to += whole;
        }
        line += whole;
    }
    *to = '\0';
    free(hashes);
    return to == ghosts;
}

/* Lines of list behind those in out that are not there yet. seen: as many slots as a power of two says. */
static void add_lines(char *out, const char *list, uint64_t *seen, size_t slots)
{
    size_t at = strlen(out);
    for (const char *line = list; line != NULL && *line != '\0';) {
        size_t n = strcspn(line, "\n");
        uint64_t hash = checksum_fnv(line, n) | 1;
        size_t slot = (size_t)hash & (slots - 1);
        while (seen[slot] != 0 && seen[slot] != hash)
            slot = (slot + 1) & (slots - 1);
        if (n > 0 && seen[slot] == 0) {
            seen[slot] = hash;
            memcpy(out + at, line, n);
            out[at + n] = '\n';
            at += n + 1;
        }
        line += n + (line[n] != '\0');
    }
    out[at] = '\0';
}

static size_t lines_of(const char *list)
{
    size_t n = list != NULL;
    for (; list != NULL && *list != '\0'; list++)
        n += *list == '\n';
    return n;
}

static size_t length_of(const char *list)
{
    return list != NULL ? strlen(list) : 0;
}

char *ghosts_join(const char *a, const char *b)
{
    size_t slots = 4, lines = lines_of(a) + lines_of(b);
    if (length_of(a) + length_of(b) == 0)
        return NULL;
    while (slots < 2 * lines)
        slots *= 2;
    uint64_t *seen = calloc(slots, sizeof *seen);
    char *out = calloc(length_of(a) + length_of(b) + 3, 1);
    if (seen == NULL || out == NULL)
        abort();
    add_lines(out, a, seen, slots);
    add_lines(out, b, seen, slots);
    free(seen);
    return out;
}

void ghosts_turn(char **ghosts, char **withdrawn)
{
    char *again = *withdrawn, *fresh = *ghosts;
    *withdrawn = ghosts_join(fresh, NULL);
    *ghosts = ghosts_join(again, fresh);
    free(again);
    free(fresh);
}
