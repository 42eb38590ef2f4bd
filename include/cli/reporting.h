/* Inside of `lentic report`: the store's stretch of time, and what the service says now, gathered into a
 * page. */
#ifndef LENTIC_CLI_REPORTING_H
#define LENTIC_CLI_REPORTING_H

#include "adapters/store_query.h"
#include "cli/alerts.h"
#include "cli/options.h"
#include "model/report.h"
#include "show/report_page.h"

#define REPORT_LIVE_MS   (10 * MS_PER_MIN) /* a span that ends so near to now is asked of the service too */
#define REPORT_TICKS_MAX 32

struct reporting {
    const struct options *options; /* for messages */
    struct site *site;
    const char *store; /* path */
    utc_t now, from, to;
    bool live; /* ask the service as well */
    bool json;
    struct report_page page;
    struct report_place *sheets;
    struct curve_tick ticks[REPORT_TICKS_MAX];
    struct alerts_heard heard;
    struct tank_report *reports; /* one a tank, empty when nothing was heard */
    int documents;               /* of tanks, heard */
    char sources[400], zone[16];
    bool no_memory; /* a list could not grow */
};

/* The places of the sheets: those of the words ("a1", "tank/a1", "room"), or of the whole site. Returns
 * OPTIONS_GO_ON or the exit code, as the following do. */
int reporting_places(struct reporting *r, const char *const *words, int count);

/* History, alerts, journal, calibrations. Exit code 1: there is nothing at all for that span. */
int reporting_store(struct reporting *r);

/* Was it asked of? Of the whole room everything was. */
bool reporting_is_asked(const struct reporting *r, const char *place);

/* Values, forecasts and alerts of this moment; what is not reached is told in sources. */
void reporting_service(struct reporting *r);

/* Marks on the axis of time, in local time. Returns how many, at most REPORT_TICKS_MAX. */
int reporting_ticks(utc_t from, utc_t to, struct curve_tick *ticks);

/* The figures as one JSON object. */
void reporting_put_json(const struct report_page *page, struct text *t);

void reporting_fini(struct reporting *r);

/* The list with room for one more element behind `count`, zeroed; without memory the list as it was, and
 * r->no_memory says so. */
void *reporting_grow(struct reporting *r, void *list, int count, size_t size);

/* A new element of a list of the page; NULL without memory. */
#define REPORTING_APPEND(r, list, counter)                                                                   \
    ((r)->page.list = reporting_grow((r), (r)->page.list, (r)->page.counter, sizeof *(r)->page.list),        \
     (r)->no_memory ? NULL : &(r)->page.list[(r)->page.counter++])

#endif
