#include "model/site.h"

#include <stdlib.h>
#include <string.h>

static bool text_is(const char *text, const char *s, size_t n)
{
    return strlen(text) == n && memcmp(text, s, n) == 0;
}

int site_place_find(const struct site *site, const char *text, size_t n)
{
    for (int i = 0; i < site->place_count; i++)
        if (text_is(site->places[i].text, text, n))
            return i;
    return -1;
}

int site_tank_find(const struct site *site, const char *id, size_t n)
{
    for (int i = 0; i < site->tank_count; i++)
        if (text_is(site->tanks[i].id, id, n))
            return i;
    return -1;
}

int site_alert_find(const struct site *site, const char *ref, size_t n)
{
    for (int i = 0; i < site->alert_count; i++)
        if (text_is(site->alerts[i].ref, ref, n))
            return i;
    return -1;
}

const char *source_kind_name(enum source_kind k)
{
    static const char *const names[] = { "purified", "tap", "well", "rain" };
    return names[k];
}

int site_source_at(const struct site *site, int place)
{
    for (int i = 0; i < site->source_count; i++)
        if (site->sources[i].place == place)
            return i;
    return -1;
}

static bool is_pure(const struct site *site, int place)
{
    int source = place < 0 ? -1 : site_source_at(site, place);
    return source < 0 || site->sources[source].kind == SOURCE_PURIFIED ||
           site->sources[source].kind == SOURCE_RAIN;
}

bool site_water_is_pure(const struct site *site, int water)
{
    return is_pure(site, site->waters[water].source) && is_pure(site, site->waters[water].blend);
}

int site_store_at(const struct site *site, int place)
{
    for (int i = 0; i < site->store_count; i++)
        if (site->stores[i].place == place)
            return i;
    return -1;
}

int site_source_find(const struct site *site, const char *id, size_t n)
{
    for (int i = 0; i < site->source_count; i++)
        if (text_is(site->places[site->sources[i].place].id, id, n))
            return i;
    return -1;
}

int site_stream_of(const struct site *site, int place, enum quantity q)
{
    return site->first_stream[place * Q_COUNT + (int)q];
}

const struct probe_entry *site_stream_entry(const struct site *site, int stream)
{
    return &site->entries[site->streams[stream].entry];
}

const struct probe_value *site_stream_value(const struct site *site, int stream)
{
    return &site_stream_entry(site, stream)->values[site->streams[stream].value];
}

void site_fini(struct site *site)
{
    arena_fini(&site->arena);
}
