/* What the broker keeps and the journal holds, gathered into a week. */
#include "cli/plan_gather.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "app/daybook.h"
#include "cli/read_diary.h"
#include "cli/talk.h"
#include "wire/encode_source.h"
#include "wire/json.h"
#include "wire/tank_document.h"

#define WAIT_MS    2000
#define STEP_MS    50
#define DOC_OLD_MS (15 * MS_PER_MIN) /* the service refreshes them each minute */

bool gathered_init(struct gathered *g, const struct options *o, const struct site *site, utc_t now)
{
    size_t tanks = (size_t)site->tank_count + 1;
    *g = (struct gathered){ .options = o, .site = site, .now = now, .room_c = NAN };
    g->reports = calloc(tanks, sizeof *g->reports);
    g->heard = calloc(tanks, sizeof *g->heard);
    g->weeks = calloc(tanks, sizeof *g->weeks);
    g->probes = calloc((size_t)site->stream_count + 1, sizeof *g->probes);
    if (!daybook_make(&g->diary, site, now) || g->reports == NULL || g->heard == NULL || g->weeks == NULL ||
        g->probes == NULL)
        return false;
    for (int i = 0; i < site->tank_count; i++)
        tank_document_empty(i, &g->reports[i]);
    for (int i = 0; i < site->stream_count; i++)
        g->probes[i].calibrated = UTC_NONE;
    return true;
}

void gathered_fini(struct gathered *g)
{
    free(g->reports);
    free(g->heard);
    free(g->weeks);
    free(g->probes);
    daybook_free(&g->diary);
}

/* --- broker --- */

/* Values of a document that nobody refreshes any more count by their own age. */
static void age(struct tank_report *r, utc_t now)
{
    if (utc_is_set(r->t) && now.ms - r->t.ms <= DOC_OLD_MS)
        return;
    for (int q = 0; q < Q_COUNT; q++)
        r->values[q].stale = true;
    for (int d = 0; d < DERIVED_COUNT; d++)
        r->derived[d].origin = ORIGIN_NONE;
}

static void take_tank(struct gathered *g, const char *id, size_t n, const struct message *m)
{
    int tank = site_tank_find(g->site, id, n);
    if (tank < 0 || m->payload_len == 0 ||
        tank_document_parse(tank, m->payload, m->payload_len, &g->reports[tank]) != STATUS_OK)
        return;
    age(&g->reports[tank], g->now);
    g->heard[tank] = true;
}

static int find_stream(const struct site *site, const char *name)
{
    for (int i = 0; i < site->stream_count; i++)
        if (strcmp(site->streams[i].name, name) == 0)
            return i;
    return -1;
}

static void take_source(struct gathered *g, const char *id, size_t n, const struct message *m)
{
    int source = site_source_find(g->site, id, n);
    if (source >= 0 && m->payload_len > 0 &&
        encode_source_parse(m->payload, m->payload_len, &g->diary.sources[source].live) != STATUS_OK)
        g->diary.sources[source].live = SOURCE_LIVE_NONE;
}

static void take_level(struct gathered *g, int stream, double level_mm)
{
    int store = site_store_at(g->site, g->site->streams[stream].place);
    if (store >= 0 && g->site->streams[stream].quantity == Q_LEVEL)
        g->diary.stores[store].level_mm = level_mm;
}

static void take_probe(struct gathered *g, const struct json_doc *doc)
{
    char name[256];
    json_doc_text(doc, "/probe", name, sizeof name);
    int stream = find_stream(g->site, name);
    if (stream < 0)
        return;
    struct json_item value = json_doc_at(doc, "/value");
    bool stale = json_doc_at(doc, "/stale").number != 0;
    g->probes[stream].calibrated = json_doc_time(doc, "/calibrated");
    g->probes[stream].fresh = json_doc_at(doc, "/uncalibrated").number != 0;
    take_level(g, stream, value.kind == JSON_KIND_NUMBER && !stale ? value.number : (double)NAN);
    if (stream == site_stream_of(g->site, g->site->room_place, Q_TEMP) && value.kind == JSON_KIND_NUMBER &&
        !stale)
        g->room_c = value.number;
}

/* A probe a line: as a whole it may be longer than what the reader of documents takes. */
static void take_probes(struct gathered *g, const struct message *m)
{
    char *copy = strndup(m->payload, m->payload_len), *rest = NULL;
    struct json_doc doc;
    for (char *line = copy == NULL ? NULL : strtok_r(copy, "\n", &rest); line != NULL;
         line = strtok_r(NULL, "\n", &rest)) {
        size_t n = strlen(line);
        if (n > 0 && line[n - 1] == ',')
            n--;
        if (strncmp(line, "{\"probe\"", 8) != 0 || json_doc_parse(line, n, &doc, NULL) != STATUS_OK)
            continue;
        take_probe(g, &doc);
        json_doc_fini(&doc);
    }
    g->probes_heard = copy != NULL && m->payload_len > 0;
    free(copy);
}

void gathered_hear(void *context, const struct message *m)
{
    struct gathered *g = context;
    size_t base = strlen(g->site->publish.base) + 1;
    if (m->topic_len <= base)
        return;
    const char *rest = m->topic + base;
    size_t n = m->topic_len - base;
    if (n > 5 && memcmp(rest, "tank/", 5) == 0)
        take_tank(g, rest + 5, n - 5, m);
    else if (n > 7 && memcmp(rest, "source/", 7) == 0)
        take_source(g, rest + 7, n - 7, m);
    else if (n == 6 && memcmp(rest, "probes", 6) == 0)
        take_probes(g, m);
}

static bool is_whole(struct gathered *g, struct talk *talk)
{
    pthread_mutex_lock(&talk->lock);
    bool whole = g->probes_heard;
    for (int i = 0; i < g->site->tank_count; i++)
        whole = whole && g->heard[i];
    pthread_mutex_unlock(&talk->lock);
    return whole;
}

static bool gather_documents(struct gathered *g)
{
    struct talk talk;
    char sources[TALK_TOPIC_MAX], tanks[TALK_TOPIC_MAX], probes[TALK_TOPIC_MAX];
    const char *const filters[] = { sources, tanks, probes };
    int heard = 0;
    (void)snprintf(sources, sizeof sources, "%s/source/+", g->site->publish.base);
    (void)snprintf(tanks, sizeof tanks, "%s/tank/+", g->site->publish.base);
    (void)snprintf(probes, sizeof probes, "%s/probes", g->site->publish.base);
    int code = talk_open(&talk, g->options, g->site, filters, 3, gathered_hear, g);
    for (int waited = 0; code == OPTIONS_GO_ON && waited < WAIT_MS && !is_whole(g, &talk); waited += STEP_MS)
        if (!talk_pass(&talk, STEP_MS))
            break;
    talk_close(&talk);
    for (int i = 0; i < g->site->tank_count; i++)
        heard += g->heard[i];
    if (code != OPTIONS_GO_ON)
        (void)snprintf(g->trouble[0], sizeof g->trouble[0],
                       "the broker was not reached: no values of the tanks, only calendar and journal");
    else if (heard < g->site->tank_count)
        (void)snprintf(g->trouble[0], sizeof g->trouble[0],
                       "of %d tanks the broker holds %d documents: is the service running?",
                       g->site->tank_count, heard);
    return heard > 0;
}

/* --- journal --- */

static bool gather_journal(struct gathered *g)
{
    g->journal_read = read_diary(g->site, &g->diary);
    if (!g->journal_read)
        (void)snprintf(
            g->trouble[1], sizeof g->trouble[1],
            "the journal could not be read here: changes, top-offs, batches noted are not counted");
    return g->journal_read;
}

bool gather(struct gathered *g)
{
    bool journal = gather_journal(g);
    return gather_documents(g) || journal;
}

void gathered_eval(struct gathered *g, int days)
{
    for (int i = 0; i < g->site->tank_count; i++) {
        g->reports[i].t = g->now;
        tank_week_eval(g->site, &g->reports[i], &g->diary, g->room_c, days, &g->weeks[i]);
    }
    room_week_eval(g->site, g->weeks, &g->diary, g->probes_heard ? g->probes : NULL, &g->room);
}
