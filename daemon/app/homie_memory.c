/* What stands at the broker, as text. A line "device DOMAIN/5/ID VERSION CHECKSUM", then its topics, each
 * behind a blank; "ghost TOPIC" for what is still to be withdrawn. */
#include "app/homie_tree.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "app/ghosts.h"

#define HEAD_MAX (HOMIE_TOPIC_MAX + 64)

static size_t memory_room(const struct homie_tree *t)
{
    size_t room = 64 + (t->ghosts == NULL ? 0 : 8 * strlen(t->ghosts)) +
                  (t->withdrawn == NULL ? 0 : 8 * strlen(t->withdrawn));
    for (int i = 0; i < t->count; i++) {
        const struct homie_device *d = &t->devices[i];
        room += HEAD_MAX + (size_t)d->count * 64 + (d->topics == NULL ? 0 : 2 * strlen(d->topics));
    }
    for (int i = 0; i < t->site->alert_count; i++)
        room += t->alert_told[i] != 0 ? 160 : 0;
    return room;
}

static void put_alerts_of(const struct homie_tree *t, int place, struct text *out)
{
    char id[HOMIE_TOPIC_MAX];
    for (int i = t->site->first_alert[place]; i < t->site->first_alert[place + 1]; i++)
        if (t->alert_told[i] != 0) {
            homie_alert_id(t->site, i, id, sizeof id);
            text_printf(out, " $alert/%s\n", id);
        }
}

/* The root has those of all places without a device. */
static void put_alerts(const struct homie_tree *t, int device, struct text *out)
{
    int place = t->devices[device].place;
    if (place != HOMIE_ROOT) {
        put_alerts_of(t, place, out);
        return;
    }
    for (int p = 0; p < t->site->place_count; p++)
        if (t->device_of[p] == device)
            put_alerts_of(t, p, out);
}

bool homie_memory_lists(const char *lines, const char *line, size_t n)
{
    for (const char *at = lines; at != NULL && *at != '\0'; at = strchr(at, '\n'), at += at != NULL)
        if (strncmp(at, line, n) == 0 && (at[n] == '\n' || at[n] == '\0'))
            return true;
    return false;
}

/* Topics of the description before that have not yet been cleared are still there. */
static void put_device(const struct homie_tree *t, int device, struct text *out)
{
    const struct homie_device *d = &t->devices[device];
    char path[HOMIE_TOPIC_MAX];
    if (d->content == 0)
        return;
    text_printf(out, "device %s/5/%s %lld %llx\n", t->site->publish.homie_domain, d->id,
                (long long)d->version, (unsigned long long)d->content);
    for (int i = 0; i < d->count; i++) {
        homie_property_path(d->slots[i].property, path, sizeof path);
        if (!homie_memory_lists(d->topics, path, strlen(path)))
            text_printf(out, " %s\n", path);
        if (homie_has_target(d->slots[i].property))
            text_printf(out, " %s/$target\n", path);
    }
    for (const char *line = d->topics; line != NULL && *line != '\0';) {
        size_t n = strcspn(line, "\n");
        if (strncmp(line, "$alert/", 7) != 0 && strstr(line, "/$target") != line + n - 8)
            text_printf(out, " %.*s\n", (int)n, line);
        line += n + (line[n] != '\0');
    }
    put_alerts(t, device, out);
}

static void put_ghosts(const char *line, struct text *out)
{
    while (line != NULL && *line != '\0') {
        size_t n = strcspn(line, "\n");
        text_printf(out, "ghost %.*s\n", (int)n, line);
        line += n + (line[n] != '\0');
    }
}

char *homie_memory_format(const struct homie_tree *t)
{
    size_t cap = memory_room(t);
    char *buf = malloc(cap);
    if (buf == NULL)
        return NULL;
    struct text out = text_over(buf, cap);
    for (int i = t->count - 1; i >= 0; i--)
        put_device(t, i, &out);
    char *ghosts = ghosts_join(t->ghosts, t->withdrawn);
    put_ghosts(ghosts, &out);
    free(ghosts);
    return buf;
}

/* --- reading --- */

static void append(char **list, const char *front, const char *line, size_t n)
{
    size_t had = *list == NULL ? 0 : strlen(*list);
    char *longer = realloc(*list, had + strlen(front) + n + 2);
    if (longer == NULL)
        abort();
    (void)sprintf(longer + had, "%s%.*s\n", front, (int)n, line);
    *list = longer;
}

struct memory_line {
    const char *text;
    size_t n;
};

static bool next_line(const char **at, struct memory_line *line)
{
    if (*at == NULL || **at == '\0')
        return false;
    line->text = *at;
    line->n = strcspn(*at, "\n");
    *at += line->n + ((*at)[line->n] != '\0');
    return true;
}

/* "device PREFIX VERSION CHECKSUM" */
static bool read_head(const struct memory_line *line, char *prefix, long long *version,
                      unsigned long long *content)
{
    char head[HEAD_MAX];
    if (line->n >= sizeof head || strncmp(line->text, "device ", 7) != 0)
        return false;
    memcpy(head, line->text, line->n);
    head[line->n] = '\0';
    return sscanf(head, "device %190s %lld %llx", prefix, version, content) == 3;
}

/* They come in the order in which they were written, the last device first: the search goes on from the last
 * hit. */
static struct homie_device *find_device(struct homie_tree *t, const char *prefix, int *at)
{
    char own[HOMIE_TOPIC_MAX];
    for (int i = 0; i < t->count; i++) {
        int candidate = (*at - i + t->count) % t->count;
        (void)snprintf(own, sizeof own, "%s/5/%s", t->site->publish.homie_domain, t->devices[candidate].id);
        if (strcmp(own, prefix) == 0) {
            *at = candidate == 0 ? t->count - 1 : candidate - 1;
            return &t->devices[candidate];
        }
    }
    return NULL;
}

static bool note_alert_of(struct homie_tree *t, int place, const char *wanted, size_t n)
{
    char id[HOMIE_TOPIC_MAX];
    for (int i = t->site->first_alert[place]; i < t->site->first_alert[place + 1]; i++) {
        homie_alert_id(t->site, i, id, sizeof id);
        if (strlen(id) == n && memcmp(id, wanted, n) == 0) {
            t->alert_told[i] = 1;
            return true;
        }
    }
    return false;
}

static void note_alert(struct homie_tree *t, struct homie_device *d, const struct memory_line *line)
{
    const char *id = line->text + 8;
    size_t n = line->n - 8;
    bool found = d->place != HOMIE_ROOT && note_alert_of(t, d->place, id, n);
    for (int p = 0; d->place == HOMIE_ROOT && !found && p < t->site->place_count; p++)
        found = &t->devices[t->device_of[p]] == d && note_alert_of(t, p, id, n);
    if (!found)
        append(&d->topics, "", line->text + 1, line->n - 1);
}

static void take_line(struct homie_tree *t, struct homie_device *d, const char *prefix,
                      const struct memory_line *line)
{
    char front[HOMIE_TOPIC_MAX + 2];
    (void)snprintf(front, sizeof front, "%s/", prefix);
    if (d != NULL && strncmp(line->text, " $alert/", 8) == 0)
        note_alert(t, d, line);
    else if (d != NULL)
        append(&d->topics, "", line->text + 1, line->n - 1);
    else
        append(&t->ghosts, front, line->text + 1, line->n - 1);
}

void homie_memory_parse(struct homie_tree *t, const char *memory)
{
    char prefix[HOMIE_TOPIC_MAX] = "", state[HOMIE_TOPIC_MAX + 2];
    struct homie_device *d = NULL;
    struct memory_line line;
    int at = t->count - 1;
    long long version;
    unsigned long long content;
    while (next_line(&memory, &line)) {
        if (read_head(&line, prefix, &version, &content)) {
            (void)snprintf(state, sizeof state, "%s/", prefix);
            d = find_device(t, prefix, &at);
            if (d != NULL) {
                d->version = version;
                d->content = content;
            } else {
                append(&t->ghosts, state, "$state", 6);
                append(&t->ghosts, state, "$description", 12);
            }
        } else if (line.n > 1 && line.text[0] == ' ' && prefix[0] != '\0') {
            take_line(t, d, prefix, &line);
        } else if (line.n > 6 && strncmp(line.text, "ghost ", 6) == 0) {
            append(&t->ghosts, "", line.text + 6, line.n - 6);
        }
    }
}

char *homie_memory_topics(const char *memory)
{
    static const struct site nobody = { .publish.homie_domain = "" };
    struct homie_tree none = { .site = &nobody };
    homie_memory_parse(&none, memory);
    return none.ghosts;
}

/* --- lists of lines --- */

void homie_memory_remember(struct homie_device *d)
{
    char path[HOMIE_TOPIC_MAX];
    const char *before = d->topics != NULL ? d->topics : "";
    size_t cap = strlen(before) + (size_t)d->count * (HOMIE_TOPIC_MAX / 2) + 1;
    char *topics = calloc(cap, 1);
    if (topics == NULL)
        abort();
    struct text out = text_over(topics, cap);
    text_put(&out, before);
    for (int i = 0; i < d->count; i++) {
        homie_property_path(d->slots[i].property, path, sizeof path);
        if (!homie_memory_lists(before, path, strlen(path)))
            text_printf(&out, "%s\n", path);
    }
    free(d->topics);
    d->topics = topics;
}

bool homie_memory_has(const struct homie_device *d, const char *path)
{
    char own[HOMIE_TOPIC_MAX], target[HOMIE_TOPIC_MAX + 8];
    for (int i = 0; i < d->count; i++) {
        homie_property_path(d->slots[i].property, own, sizeof own);
        (void)snprintf(target, sizeof target, "%s/$target", own);
        if (strcmp(own, path) == 0 || (homie_has_target(d->slots[i].property) && strcmp(target, path) == 0))
            return true;
    }
    return false;
}

bool homie_memory_first(const char *list, char *line, size_t cap)
{
    size_t n = list == NULL ? 0 : strcspn(list, "\n");
    if (n == 0 || n >= cap)
        return false;
    memcpy(line, list, n);
    line[n] = '\0';
    return true;
}

void homie_memory_drop(char *list)
{
    size_t n = strcspn(list, "\n");
    memmove(list, list + n + (list[n] != '\0'), strlen(list + n + (list[n] != '\0')) + 1);
}
