/* What a controller wants: payloads of set topics. */
#include "wire/homie.h"

#include <stdio.h>
#include <string.h>

#define MINUTES_MOST 1440

/* Below the domain and the version: "millrace-tank-a1/alerts/shelve". */
static bool find_path(const struct site *site, const char *topic, size_t n, const char **path, size_t *len)
{
    char front[64];
    int room = snprintf(front, sizeof front, "%s/5/%s", site->publish.homie_domain, site->id);
    size_t before = (size_t)room - strlen(site->id);
    if (room < 0 || n < (size_t)room + 5 || memcmp(topic, front, (size_t)room) != 0 ||
        memcmp(topic + n - 4, "/set", 4) != 0)
        return false;
    *path = topic + before;
    *len = n - before - 4;
    char next = topic[room];
    return next == '/' || next == '-';
}

/* True when the path begins with that device. */
static bool is_device(const struct site *site, int place, const char *path, size_t len, size_t *id_len)
{
    char id[HOMIE_ID_MAX];
    homie_device_id(site, place, id);
    *id_len = strlen(id);
    return len > *id_len && path[*id_len] == '/' && memcmp(path, id, *id_len) == 0;
}

static bool find_device(const struct site *site, const char *path, size_t len, int *place, size_t *id_len)
{
    *place = HOMIE_ROOT;
    if (is_device(site, HOMIE_ROOT, path, len, id_len))
        return true;
    for (int i = 0; i < site->place_count; i++)
        if (homie_has_device(site, i) && is_device(site, i, path, len, id_len)) {
            *place = i;
            return true;
        }
    return false;
}

bool homie_is_set(const struct site *site, const char *topic, size_t n)
{
    const char *path;
    size_t len, id_len;
    int place;
    return find_path(site, topic, n, &path, &len) && find_device(site, path, len, &place, &id_len);
}

/* Only what can be set: these are there whatever has been measured. */
static bool find_property(const struct site *site, int place, const char *path, size_t len,
                          struct homie_property *out)
{
    static const struct homie_known nothing;
    struct homie_property properties[HOMIE_PROPERTIES_MAX];
    char own[64];
    int count = homie_properties(site, place, &nothing, properties);
    for (int i = 0; i < count; i++) {
        homie_property_path(properties[i], own, sizeof own);
        if (homie_is_settable(site, properties[i]) && strlen(own) == len && memcmp(own, path, len) == 0) {
            *out = properties[i];
            return true;
        }
    }
    return false;
}

static bool read_boolean(const char *s, int *out)
{
    *out = strcmp(s, "true") == 0;
    return *out || strcmp(s, "false") == 0;
}

static bool read_minutes(const char *s, int *out)
{
    *out = 0;
    if (*s == '\0')
        return false;
    for (; *s >= '0' && *s <= '9' && *out <= MINUTES_MOST; s++)
        *out = 10 * *out + (*s - '0');
    return *s == '\0' && *out <= MINUTES_MOST;
}

static enum status read_payload(const struct message *m, struct homie_set *out, struct why *why)
{
    bool flag = out->property.part == HOMIE_ACKNOWLEDGE;
    size_t n = m->payload_len;
    if (n >= sizeof out->payload || (n > 0 && memchr(m->payload, '\0', n) != NULL))
        n = 0;
    if (n > 0)
        memcpy(out->payload, m->payload, n);
    out->payload[n] = '\0';
    if (flag ? read_boolean(out->payload, &out->number) : read_minutes(out->payload, &out->number))
        return STATUS_OK;
    return why_say(why, STATUS_INVALID, "%.*s: the payload must be %s", (int)m->topic_len, m->topic,
                   flag ? "true or false" : "whole minutes, 0 to 1440");
}

enum status homie_parse_set(const struct site *site, const struct message *m, struct homie_set *out,
                            struct why *why)
{
    const char *path = "";
    size_t len = 0, id_len = 0;
    *out = (struct homie_set){ .place = HOMIE_ROOT };
    if (!find_path(site, m->topic, m->topic_len, &path, &len) ||
        !find_device(site, path, len, &out->place, &id_len) ||
        !find_property(site, out->place, path + id_len + 1, len - id_len - 1, &out->property))
        return why_say(why, STATUS_INVALID, "%.*s: there is no such property, or it cannot be set",
                       (int)m->topic_len, m->topic);
    if (m->retain)
        return why_say(why, STATUS_INVALID, "%.*s: a retained set is never obeyed", (int)m->topic_len,
                       m->topic);
    return read_payload(m, out, why);
}
