/* lentic plan: what the coming days ask of the keeper. */
#include "cli/plan_gather.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "base/nearest.h"
#include "cli/reach.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "show/week_sums.h"
#include "show/week_sums_room.h"
#include "wire/encode_week.h"

#define PAGE_ROOM (1u << 20)
#define NAMES_MAX 400

enum { EXIT_YES, EXIT_NO, EXIT_USAGE, EXIT_UNREACHED };

struct plan_request {
    const char *conf, *why, *broker;
    double days; /* 0: as configured */
    bool json;
};

static const char *local_day(utc_t t, char *buf, size_t cap)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    struct tm tm, now;
    time_t today = time(NULL);
    if (localtime_r(&s, &tm) == NULL || localtime_r(&today, &now) == NULL ||
        strftime(buf, cap,
                 abs(tm.tm_year * 12 + tm.tm_mon - now.tm_year * 12 - now.tm_mon) > 6 ? "%-d %b %Y"
                                                                                      : "%a %-d %b",
                 &tm) == 0)
        (void)snprintf(buf, cap, "?");
    return buf;
}

static int columns(void)
{
    struct winsize size;
    const char *said = getenv("COLUMNS");
    if (isatty(STDOUT_FILENO) == 1 && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        return size.ws_col;
    int n = said != NULL ? atoi(said) : 0;
    return n >= 60 && n <= 1000 ? n : 120;
}

/* --- one name asked for its sums --- */

static const char *tank_id(const struct site *site, int i)
{
    return site->tanks[i].id;
}

static const char *water_id(const struct site *site, int i)
{
    return site->waters[i].id;
}

static const char *salt_id(const struct site *site, int i)
{
    return site->salts[i].id;
}

static const char *source_id(const struct site *site, int i)
{
    return site->places[site->sources[i].place].id;
}

static int put_sums(const struct options *o, const struct week_page *page, const char *name, struct text *out)
{
    const struct site *site = page->site;
    const struct {
        int count;
        const char *(*id)(const struct site *site, int i);
        void (*put)(const struct week_page *page, int i, struct text *out);
    } kinds[] = { { site->tank_count, tank_id, week_sums_tank },
                  { site->water_count, water_id, week_sums_water },
                  { site->salt_count, salt_id, week_sums_salt },
                  { site->source_count, source_id, week_sums_source } };
    const char *names[NAMES_MAX];
    size_t count = 0;
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
        for (int i = 0; i < kinds[k].count && count < NAMES_MAX; i++) {
            names[count++] = kinds[k].id(site, i);
            if (strcmp(names[count - 1], name) != 0)
                continue;
            kinds[k].put(page, i, out);
            return OPTIONS_GO_ON;
        }
    const char *near = nearest_of(name, names, count);
    return options_fail(o, EXIT_USAGE, "no tank, water, salt or source is called \"%.40s\"%s%s%s", name,
                        near != NULL ? "; did you mean \"" : "", near != NULL ? near : "",
                        near != NULL ? "\"?" : "");
}

/* --- answers --- */

static void put_json(const struct gathered *g, struct text *out)
{
    json_open(out, '{');
    json_key(out, "t");
    json_time(out, g->now);
    json_key(out, "trouble");
    json_open(out, '[');
    for (int i = 0; i < 2; i++)
        if (g->trouble[i][0] != '\0')
            json_string(out, g->trouble[i]);
    json_close(out, ']');
    json_key(out, "room");
    encode_week_room(g->site, &g->room, out);
    json_key(out, "tanks");
    json_open(out, '{');
    for (int i = 0; i < g->site->tank_count; i++) {
        json_key(out, g->site->tanks[i].id);
        encode_week_tank(g->site, &g->weeks[i], out);
    }
    json_close(out, '}');
    json_close(out, '}');
    text_put(out, "\n");
}

static int print(const struct gathered *g, const struct plan_request *r)
{
    const struct week_page page = { g->site, g->weeks, g->site->tank_count, &g->room, local_day, columns() };
    char *buf = malloc(PAGE_ROOM);
    int code = OPTIONS_GO_ON;
    if (buf == NULL)
        return options_fail(g->options, EXIT_UNREACHED, "no memory");
    struct text out = text_over(buf, PAGE_ROOM);
    for (int i = 0; i < 2 && !r->json; i++)
        if (g->trouble[i][0] != '\0')
            (void)fprintf(stderr, "lentic plan: %s\n", g->trouble[i]);
    if (r->why != NULL)
        code = put_sums(g->options, &page, r->why, &out);
    else if (r->json)
        put_json(g, &out);
    else
        week_page_put(&page, &out);
    if (code == OPTIONS_GO_ON) {
        code = fputs(buf, stdout) < 0 || out.cut               ? EXIT_UNREACHED
               : r->why == NULL && !week_is_feasible(&g->room) ? EXIT_NO
                                                               : EXIT_YES;
    }
    free(buf);
    return code;
}

static int answer(const struct options *o, struct site *site, const struct plan_request *r)
{
    struct gathered g;
    char host[REACH_HOST_MAX];
    int code = reach_parse(o, "--broker", r->broker, &site->broker, host);
    if (code != OPTIONS_GO_ON)
        return code;
    if (site->timezone != NULL) {
        (void)setenv("TZ", site->timezone, 1);
        tzset();
    }
    sums_learnt(site);
    if (!gathered_init(&g, o, site, clock_now().utc))
        code = options_fail(o, EXIT_UNREACHED, "no memory");
    else if (!gather(&g))
        code = options_fail(
            o, EXIT_UNREACHED,
            "neither the service's documents nor its journal could be read; nothing to plan with");
    if (code == OPTIONS_GO_ON) {
        gathered_eval(&g, (int)(r->days > 0 ? r->days : site->plan.days));
        code = print(&g, r);
    }
    gathered_fini(&g);
    return code;
}

static const char about[] = "What the coming days ask of you: which tank to change, when and why, how much "
                            "of which water, the step that\n"
                            "makes; what to weigh, fill, top off, test by hand, calibrate and buy. From the "
                            "service's documents and journal.";

static const char more[] =
    "  lentic plan                     the week\n"
    "  lentic plan --days 14           two of them\n"
    "  lentic plan --why a1            the sums of a tank; also of a water, a salt or a source\n"
    "\n"
    "A step with ~ rests on a value that was assumed. Corrections go in stages within the animals' limits of "
    "one\n"
    "step; the day is not before its hour. What is noted (lentic note) counts at once.\n"
    "Exit codes: 0 done, 1 something runs short or cannot be mixed, 2 usage, 3 neither broker nor store.";

int plan_main(int argc, char **argv)
{
    struct plan_request r = { .conf = SUMS_CONF };
    struct site *site = NULL;
    const struct option items[] = {
        { "days", "N", "how far it looks ahead (7, or as configured)", OPTION_NUMBER, &r.days, 1,
          TANK_WEEK_DAYS_MAX },
        { "why", "NAME", "the sums of a tank, a water, a salt, a source", OPTION_TEXT, &r.why, 0, 0 },
        { "json", NULL, "one JSON object: room and tanks", OPTION_FLAG, &r.json, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &r.conf, 0, 0 },
        { "broker", "HOST:PORT", "another broker than the configuration's", OPTION_TEXT, &r.broker, 0, 0 },
    };
    const struct options o = { "plan", NULL, about, items, sizeof items / sizeof *items, more };
    int code = sums_read(&o, argc, argv, NULL);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, r.conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = answer(&o, site, &r);
    site_free(site);
    return code;
}
