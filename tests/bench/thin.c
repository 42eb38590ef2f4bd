/* How many readings thinning would leave. Reads what `lentic replay --emit readings` prints.
 *   lentic rehearse --days 3 --capture - | lentic replay --conf conf/room.conf --emit readings - | bench_thin
 * [BOUND] */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/door.h"
#include "model/quantity.h"
#include "model/reading.h"
#include "wire/json.h"

#define SERIES_MAX 1024

struct series {
    char place[48];
    enum quantity quantity;
    struct door door;
    int64_t newest_ms;
    long count, kept;
};

static struct series all[SERIES_MAX];
static int series_count;
static double bound = 2;

static struct series *series_of(const char *place, enum quantity q)
{
    for (int i = 0; i < series_count; i++)
        if (all[i].quantity == q && strcmp(all[i].place, place) == 0)
            return &all[i];
    if (series_count == SERIES_MAX)
        return NULL;
    struct series *s = &all[series_count++];
    snprintf(s->place, sizeof s->place, "%s", place);
    s->quantity = q;
    s->door = door_open(bound * quantity_info(q)->reading_sd, 3600000);
    s->kept = 1;
    return s;
}

static void take(const struct json_doc *doc)
{
    char place[48], name[16];
    json_doc_text(doc, "/place", place, sizeof place);
    json_doc_text(doc, "/quantity", name, sizeof name);
    struct json_item value = json_doc_at(doc, "/value"), flag = json_doc_at(doc, "/flag");
    utc_t t = json_doc_time(doc, "/t");
    enum quantity q = quantity_find(name, strlen(name));
    struct series *s = q != Q_COUNT ? series_of(place, q) : NULL;
    if (s == NULL || t.ms <= s->newest_ms) /* revisions and late ones come twice */
        return;
    s->newest_ms = t.ms;
    s->count++;
    if (value.kind != JSON_KIND_NUMBER || flag.number != FLAG_GOOD) {
        s->kept++;
        s->door = door_open(s->door.bound, s->door.longest_ms);
    } else {
        s->kept += door_pass(&s->door, t.ms, value.number);
    }
}

static void tell(void)
{
    for (int q = 0; q < Q_COUNT; q++) {
        long count = 0, kept = 0;
        for (int i = 0; i < series_count; i++)
            if (all[i].quantity == (enum quantity)q) {
                count += all[i].count;
                kept += all[i].kept;
            }
        if (count > 0)
            printf("%-6s %8ld readings, %8ld stay (%.0f %%), never more than %g %s off\n",
                   quantity_info((enum quantity)q)->name, count, kept, 100.0 * (double)kept / (double)count,
                   bound * quantity_info((enum quantity)q)->reading_sd,
                   quantity_info((enum quantity)q)->unit);
    }
}

int main(int argc, char **argv)
{
    char *line = NULL;
    size_t room = 0;
    ssize_t n;
    if (argc > 1)
        bound = strtod(argv[1], NULL);
    if (!(bound > 0)) {
        fprintf(stderr, "bench_thin [BOUND]: so many times the usual noise, above 0\n");
        return 2;
    }
    while ((n = getline(&line, &room, stdin)) > 0) {
        struct json_doc doc;
        if (json_doc_parse(line, (size_t)n, &doc, NULL) == STATUS_OK) {
            take(&doc);
            json_doc_fini(&doc);
        }
    }
    free(line);
    tell();
    return 0;
}
