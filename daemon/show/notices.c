#include "show/notices.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "show/style.h"
#include "show/width.h"

#define COLUMNS_LEAST 40
#define INDENT        2
#define CLOCK_MAX     40

static bool is_state(const struct notice *n, const char *state)
{
    return strcmp(n->state, state) == 0;
}

bool notice_is_active(const struct notice *n)
{
    return is_state(n, "UNACK") || is_state(n, "ACKED");
}

bool notice_is_aside(const struct notice *n)
{
    return is_state(n, "SHLVD") || is_state(n, "DSUPR") || is_state(n, "OOSRV");
}

static int rank(const struct notice *n)
{
    int group = notice_is_aside(n) ? 2 : notice_is_active(n) ? 0 : 1;
    return group * 100 + (PRIORITY_COUNT - (int)n->priority) * 10 + (n->leader[0] != '\0') * 2 +
           is_state(n, "ACKED");
}

static int by_urgency(const void *x, const void *y)
{
    const struct notice *a = x, *b = y;
    int ra = rank(a), rb = rank(b);
    if (ra != rb)
        return ra - rb;
    if (a->raised.ms != b->raised.ms)
        return a->raised.ms < b->raised.ms ? -1 : 1;
    return strcmp(a->ref, b->ref);
}

void notices_sort(struct notice *notices, int count)
{
    qsort(notices, (size_t)count, sizeof *notices, by_urgency);
}

static void line(struct text *out, struct notices_look look, const char *lead, const char *words)
{
    text_printf(out, "%*s%s", INDENT, "", lead);
    width_wrap(out, words, look.columns, INDENT, INDENT + width_of(lead));
}

static void put_heading(struct text *out, const struct notice *n, struct notices_look look)
{
    static const char *const words[] = { "LOW", "MEDIUM", "HIGH" };
    static const enum style styles[] = { STYLE_NOTE, STYLE_WARN, STYLE_ALARM };
    char title[320];
    style_put(out, look.coloured, notice_is_active(n) ? styles[n->priority] : STYLE_FAINT);
    snprintf(title, sizeof title, "%s %s: %s", words[n->priority], n->place, n->title);
    width_wrap(out, title, look.columns, INDENT, 0);
    style_put(out, look.coloured, STYLE_PLAIN);
}

const char *notice_state_words(const struct notice *n)
{
    static const char *const words[][2] = {
        { "UNACK", "not acknowledged" },         { "ACKED", "acknowledged" },
        { "RTNUN", "over, not acknowledged" },   { "LATUN", "over, waits to be acknowledged, then reset" },
        { "LATAK", "over, waits to be reset" },  { "SHLVD", "put aside" },
        { "DSUPR", "kept quiet: work goes on" }, { "OOSRV", "out of service" },
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (is_state(n, words[i][0]))
            return words[i][1];
    return "";
}

/* "Since Tue 14:05, 2 h 10 min; not acknowledged." */
static void put_state(struct text *out, const struct notice *n, struct notices_look look)
{
    char said[512], when[CLOCK_MAX], span[40];
    struct text t = text_over(said, sizeof said);
    if (utc_is_set(n->raised))
        text_printf(&t, "Since %s, %s; ", look.clock(n->raised, when, sizeof when),
                    span_format(look.now.ms - n->raised.ms, span, sizeof span));
    text_put(&t, notice_state_words(n));
    if (utc_is_set(n->until))
        text_printf(&t, " until %s", look.clock(n->until, when, sizeof when));
    else if (is_state(n, "OOSRV"))
        text_put(&t, " until further notice");
    if (n->who[0] != '\0')
        text_printf(&t, ", by %s", n->who);
    if (n->why[0] != '\0')
        text_printf(&t, " (%s)", n->why);
    text_put(&t, n->chattering ? "; comes and goes too often, quiet until it is calm." : ".");
    line(out, look, "", said);
}

static void put_time_left(struct text *out, const struct notice *n, struct notices_look look)
{
    char said[160], when[CLOCK_MAX], span[40];
    if (!utc_is_set(n->due) || !notice_is_active(n))
        return;
    if (n->due.ms <= look.now.ms)
        snprintf(said, sizeof said, "none");
    else
        snprintf(said, sizeof said, "about %s, until %s",
                 span_format(n->due.ms - look.now.ms, span, sizeof span),
                 look.clock(n->due, when, sizeof when));
    line(out, look, "Time left: ", said);
}

/* What can be said to the service next. */
static void put_command(struct text *out, const struct notice *n, struct notices_look look)
{
    static const char *const next[][2] = {
        { "UNACK", "ack" },   { "RTNUN", "ack" },      { "LATUN", "ack" },
        { "LATAK", "reset" }, { "SHLVD", "unshelve" }, { "OOSRV", "back" }
    };
    char said[160];
    for (size_t i = 0; i < sizeof next / sizeof *next; i++)
        if (is_state(n, next[i][0])) {
            snprintf(said, sizeof said, "lentic %s %s", next[i][1], n->ref);
            style_put(out, look.coloured, STYLE_FAINT);
            line(out, look, "", said);
            style_put(out, look.coloured, STYLE_PLAIN);
        }
}

void notice_put(struct text *out, const struct notice *n, struct notices_look look)
{
    if (look.columns < COLUMNS_LEAST)
        look.columns = COLUMNS_LEAST;
    put_heading(out, n, look);
    put_state(out, n, look);
    if (n->evidence[0] != '\0' || n->number[0] != '\0')
        line(out, look, "Seen: ", n->evidence[0] != '\0' ? n->evidence : n->number);
    if (n->leader[0] != '\0') {
        line(out, look, "Comes with: ", n->leader);
        return;
    }
    if (n->cause[0] != '\0' && strstr(n->title, n->cause) == NULL)
        line(out, look, "Likely cause: ", n->cause);
    put_time_left(out, n, look);
    if (!notice_is_aside(n) && !is_state(n, "RTNUN") && n->action[0] != '\0')
        line(out, look, n->priority == PRIORITY_HIGH ? "Do now: " : "Do: ", n->action);
    if (notice_is_active(n) && n->consequence[0] != '\0')
        line(out, look, "If nothing is done: ", n->consequence);
    put_command(out, n, look);
}
