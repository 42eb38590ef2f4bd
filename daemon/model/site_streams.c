/* Streams and their partners, made from the probe entries when everything else stands. */
#include "model/site.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "model/pattern.h"

static const char *stream_name(struct site *site, const struct probe_entry *entry,
                               const struct probe_value *value, int place)
{
    char buf[512];
    struct text out = text_over(buf, sizeof buf);
    pattern_fill(entry->topic, site, place, &out);
    if (value->at != NULL)
        text_printf(&out, "#%s", value->at);
    if (entry->match != NULL)
        text_printf(&out, "?%s", entry->match);
    return arena_text(&site->arena, buf, out.len);
}

static int count_streams(const struct site *site)
{
    int count = 0;
    for (int e = 0; e < site->entry_count; e++)
        count += site->entries[e].place_count * site->entries[e].value_count;
    return count;
}

static void make_streams(struct site *site)
{
    int n = 0;
    for (int e = 0; e < site->entry_count; e++) {
        struct probe_entry *entry = &site->entries[e];
        entry->first_stream = n;
        for (int p = 0; p < entry->place_count; p++)
            for (int v = 0; v < entry->value_count; v++)
                site->streams[n++] =
                    (struct stream){ .entry = e,
                                     .value = v,
                                     .place = entry->places[p],
                                     .quantity = entry->values[v].quantity,
                                     .name = stream_name(site, entry, &entry->values[v], entry->places[p]),
                                     .twin = -1,
                                     .temp_stream = -1 };
    }
    site->stream_count = n;
}

/* Temperature for a probe that does not compensate: of the same document before that of the same place. */
static int temperature_for(const struct site *site, int stream, const int *first)
{
    const struct stream *s = &site->streams[stream];
    const struct probe_entry *entry = &site->entries[s->entry];
    int row = stream - s->value;
    for (int v = 0; v < entry->value_count; v++)
        if (entry->values[v].quantity == Q_TEMP)
            return row + v;
    return first[s->place * Q_COUNT + Q_TEMP];
}

static void tie_partners(struct site *site)
{
    size_t cells = (size_t)site->place_count * Q_COUNT;
    int *first = arena_take(&site->arena, cells, sizeof *first);
    int *last = arena_take(&site->arena, cells, sizeof *last);
    for (size_t i = 0; i < cells; i++)
        first[i] = last[i] = -1;
    for (int i = 0; i < site->stream_count; i++) {
        struct stream *s = &site->streams[i];
        int cell = s->place * Q_COUNT + (int)s->quantity;
        if (first[cell] < 0)
            first[cell] = i;
        else
            site->streams[last[cell]].twin = i;
        last[cell] = i;
    }
    /* The last of the twins looks back to the first: a ring of two or more. */
    for (size_t i = 0; i < cells; i++)
        if (last[i] != first[i])
            site->streams[last[i]].twin = first[i];
    for (int i = 0; i < site->stream_count; i++)
        site->streams[i].temp_stream = temperature_for(site, i, first);
    site->first_stream = first;
}

void site_derive_streams(struct site *site)
{
    site->streams = arena_take(&site->arena, (size_t)count_streams(site), sizeof *site->streams);
    make_streams(site);
    tie_partners(site);
}
