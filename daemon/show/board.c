#include "show/board.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "show/style.h"
#include "show/width.h"

#define COLUMNS_LEAST 40
#define AGE_WIDTH     6
#define GAP           2

static const char *state_words(const char *state)
{
    static const char *const words[][2] = {
        { "UNACK", "not acknowledged" },
        { "ACKED", "acknowledged" },
        { "RTNUN", "over, not acknowledged" },
        { "LATUN", "over, not acknowledged, waits for a reset" },
        { "LATAK", "over, waits for a reset" },
        { "SHLVD", "put aside" },
        { "DSUPR", "suppressed" },
        { "OOSRV", "out of service" },
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(state, words[i][0]) == 0)
            return words[i][1];
    return "";
}

bool board_alert_active(const struct board_alert *a)
{
    return strcmp(a->state, "UNACK") == 0 || strcmp(a->state, "ACKED") == 0;
}

static int rank(const struct board_alert *a)
{
    int acknowledged = strcmp(a->state, "ACKED") == 0;
    return (board_alert_active(a) ? 0 : 100) + (PRIORITY_COUNT - (int)a->priority) * 10 + 2 * (a->led != 0) +
           acknowledged;
}

static int by_urgency(const void *x, const void *y)
{
    const struct board_alert *a = x, *b = y;
    int ra = rank(a), rb = rank(b);
    if (ra != rb)
        return ra - rb;
    if (a->since.ms != b->since.ms)
        return a->since.ms < b->since.ms ? -1 : 1;
    return strcmp(a->place, b->place);
}

void board_sort(struct board *board)
{
    qsort(board->alerts, (size_t)board->alert_count, sizeof *board->alerts, by_urgency);
}

static enum style style_of(const struct board_alert *a)
{
    static const enum style styles[] = { STYLE_NOTE, STYLE_WARN, STYLE_ALARM };
    return board_alert_active(a) ? styles[a->priority] : STYLE_FAINT;
}

/* --- the line of a tank --- */

static const char *arrow_of(enum quantity q, const struct board_value *v)
{
    double step = quantity_info(q)->deadband;
    if (isnan(v->per_day) || v->stale)
        return " ";
    if (fabs(v->per_day) < 2 * step)
        return "→";
    if (fabs(v->per_day) < 10 * step)
        return v->per_day > 0 ? "↗" : "↘";
    return v->per_day > 0 ? "↑" : "↓";
}

static void cell_of(enum quantity q, const struct board_value *v, char *buf, size_t cap)
{
    char number[40];
    int decimals = q == Q_TEMP ? 1 : quantity_info(q)->decimals;
    if (!v->known || number_format(number, sizeof number, v->value, decimals) == 0)
        snprintf(buf, cap, "– ");
    else if (v->stale)
        snprintf(buf, cap, "(%s)", number);
    else
        snprintf(buf, cap, "%s%s%s", v->flag == FLAG_SUSPECT || v->flag == FLAG_FAIL ? "~" : "", number,
                 arrow_of(q, v));
}

static void title_of(enum quantity q, char *buf, size_t cap)
{
    const struct quantity_info *info = quantity_info(q);
    snprintf(buf, cap, "%s%s%s ", info->name, info->unit[0] != 0 ? " " : "", info->unit);
}

struct plan {
    int name_width, state_width;
    int count;
    enum quantity quantities[Q_COUNT];
    int widths[Q_COUNT];
};

/* 0: nowhere measured. Room for the marks of a doubtful or old value is kept, so that columns stay in place.
 */
static int width_needed(const struct board *board, enum quantity q)
{
    char text[64];
    int most = 0;
    for (int i = 0; i < board->tank_count; i++) {
        struct board_value v = board->tanks[i].values[q];
        if (!board->tanks[i].measured[q] && !v.known)
            continue;
        v.flag = FLAG_SUSPECT;
        v.stale = false;
        cell_of(q, &v, text, sizeof text);
        int width = width_of(text);
        most = width > most ? width : most;
    }
    if (most == 0)
        return 0;
    title_of(q, text, sizeof text);
    return width_of(text) > most ? width_of(text) : most;
}

static int state_share(int columns)
{
    return columns * 3 / 10;
}

/* As many quantities as fit, in the order of the table; the state keeps its share of the line. */
static struct plan plan_for(const struct board *board, int columns)
{
    struct plan plan = { .name_width = 4 };
    for (int i = 0; i < board->tank_count; i++) {
        int width = width_of(board->tanks[i].id);
        plan.name_width = width > plan.name_width ? width : plan.name_width;
    }
    if (plan.name_width > columns / 5)
        plan.name_width = columns / 5;
    int left = columns - plan.name_width - GAP - AGE_WIDTH - GAP - state_share(columns);
    for (int q = 0; q < Q_COUNT; q++) {
        int width = width_needed(board, (enum quantity)q);
        if (width == 0 || width + GAP > left)
            continue;
        plan.quantities[plan.count] = (enum quantity)q;
        plan.widths[plan.count++] = width;
        left -= width + GAP;
    }
    plan.state_width = state_share(columns) + left;
    return plan;
}

static void put_gap(struct text *out)
{
    text_put(out, "  ");
}

static void put_titles(struct text *out, const struct plan *plan, struct board_look look)
{
    style_put(out, look.coloured, STYLE_FAINT);
    width_put(out, "tank", plan->name_width, false);
    for (int i = 0; i < plan->count; i++) {
        char title[64];
        title_of(plan->quantities[i], title, sizeof title);
        put_gap(out);
        width_put(out, title, plan->widths[i], true);
    }
    put_gap(out);
    width_put(out, "age", AGE_WIDTH, true);
    text_put(out, "  state");
    style_put(out, look.coloured, STYLE_PLAIN);
    text_put(out, "\n");
}

/* Of the newest value that a probe sent. */
static void age_of(const struct board *board, const struct board_tank *tank, char *buf, size_t cap)
{
    utc_t newest = UTC_NONE;
    for (int q = 0; q < Q_COUNT; q++)
        if (tank->values[q].known && utc_is_set(tank->values[q].t) && tank->values[q].t.ms > newest.ms)
            newest = tank->values[q].t;
    int64_t s = utc_is_set(newest) ? (board->now.ms - newest.ms) / 1000 : -1;
    if (!utc_is_set(newest))
        snprintf(buf, cap, "–");
    else if (s < 100)
        snprintf(buf, cap, "%d s", s < 0 ? 0 : (int)s);
    else if (s < 100 * 60)
        snprintf(buf, cap, "%d min", (int)(s / 60));
    else if (s < 48 * 3600)
        snprintf(buf, cap, "%d h", (int)(s / 3600));
    else
        snprintf(buf, cap, "%d d", (int)(s / 86400));
}

static bool is_of_tank(const struct board_alert *a, const char *id)
{
    return strncmp(a->place, "tank/", 5) == 0 && strcmp(a->place + 5, id) == 0;
}

static const struct board_alert *most_urgent(const struct board *board, const char *id, int *others)
{
    const struct board_alert *first = NULL;
    *others = 0;
    for (int i = 0; i < board->alert_count; i++) {
        if (!is_of_tank(&board->alerts[i], id))
            continue;
        if (first == NULL)
            first = &board->alerts[i];
        else
            ++*others;
    }
    return first;
}

static bool has_fresh_value(const struct board_tank *tank)
{
    for (int q = 0; q < Q_COUNT; q++)
        if (tank->values[q].known && !tank->values[q].stale)
            return true;
    return false;
}

/* No alert does not mean well: somebody must be looking. */
static const char *quiet_words(const struct board *board, const struct board_tank *tank)
{
    if (board->service != BOARD_SERVICE_ONLINE)
        return "not watched now";
    if (!tank->heard)
        return "nothing heard yet";
    if (tank->in_service)
        return "work going on";
    return has_fresh_value(tank) ? "well" : "no fresh reading";
}

static enum style quiet_style(const struct board *board, const struct board_tank *tank)
{
    if (board->service != BOARD_SERVICE_ONLINE || !tank->heard || !has_fresh_value(tank))
        return STYLE_FAINT;
    return tank->in_service ? STYLE_NOTE : STYLE_WELL;
}

static void put_state(struct text *out, const struct board *board, const struct board_tank *tank, int width,
                      struct board_look look)
{
    static const char *const marks[] = { "!  ", "!! ", "!!!" };
    int others;
    char more[24] = "";
    const struct board_alert *a = most_urgent(board, tank->id, &others);
    const char *words = a != NULL ? a->title : quiet_words(board, tank);
    style_put(out, look.coloured, a != NULL ? style_of(a) : quiet_style(board, tank));
    if (a != NULL) {
        text_printf(out, "%s ", board_alert_active(a) ? marks[a->priority] : "·  ");
        width -= 4;
        if (others > 0)
            snprintf(more, sizeof more, " (+%d)", others);
    }
    width -= width_of(more);
    if (width_of(words) > width)
        width_put(out, words, width, false);
    else
        width_put_clean(out, words);
    text_put(out, more);
    style_put(out, look.coloured, STYLE_PLAIN);
}

static void put_tank(struct text *out, const struct board *board, const struct plan *plan,
                     const struct board_tank *tank, struct board_look look)
{
    char text[64];
    width_put(out, tank->id, plan->name_width, false);
    for (int i = 0; i < plan->count; i++) {
        const struct board_value *v = &tank->values[plan->quantities[i]];
        cell_of(plan->quantities[i], v, text, sizeof text);
        put_gap(out);
        if (v->stale || !v->known)
            style_put(out, look.coloured, STYLE_FAINT);
        width_put(out, text, plan->widths[i], true);
        if (v->stale || !v->known)
            style_put(out, look.coloured, STYLE_PLAIN);
    }
    age_of(board, tank, text, sizeof text);
    put_gap(out);
    width_put(out, text, AGE_WIDTH, true);
    put_gap(out);
    put_state(out, board, tank, plan->state_width, look);
    text_put(out, "\n");
}

/* What the marks mean, while one of them is seen. */
static void put_legend(struct text *out, const struct board *board, struct board_look look)
{
    bool doubtful = false, old = false;
    for (int i = 0; i < board->tank_count; i++)
        for (int q = 0; q < Q_COUNT; q++) {
            const struct board_value *v = &board->tanks[i].values[q];
            old = old || (v->known && v->stale);
            doubtful =
                doubtful || (v->known && !v->stale && (v->flag == FLAG_SUSPECT || v->flag == FLAG_FAIL));
        }
    if (!doubtful && !old)
        return;
    style_put(out, look.coloured, STYLE_FAINT);
    text_printf(out, "%s%s%s", doubtful ? "~ doubtful" : "", doubtful && old ? ", " : "",
                old ? "( ) old" : "");
    style_put(out, look.coloured, STYLE_PLAIN);
    text_put(out, "\n");
}

/* --- sources --- */

static void put_sources(struct text *out, const struct board *board, struct board_look look)
{
    bool any = false;
    for (int i = 0; i < board->source_count; i++) {
        const struct board_source *s = &board->sources[i];
        if (s->text[0] == '\0')
            continue;
        if (!any)
            text_put(out, "\n");
        any = true;
        style_put(out, look.coloured, s->worn ? STYLE_WARN : STYLE_PLAIN);
        text_put(out, "source ");
        width_put_clean(out, s->id);
        text_put(out, ": ");
        width_wrap(out, s->text, look.columns, 4, 9 + width_of(s->id));
        style_put(out, look.coloured, STYLE_PLAIN);
    }
}

/* --- the service --- */

static void put_service(struct text *out, const struct board *board, struct board_look look)
{
    char span[64], words[256];
    style_put(out, look.coloured, STYLE_STRONG);
    width_put_clean(out, board->name);
    style_put(out, look.coloured, STYLE_PLAIN);
    text_printf(out, "  %s\n", board->clock);
    switch (board->service) {
    case BOARD_SERVICE_ONLINE:
        span_format(board->now.ms - board->service_since.ms, span, sizeof span);
        snprintf(words, sizeof words, "service running%s%s", utc_is_set(board->service_since) ? " for " : "",
                 utc_is_set(board->service_since) ? span : "");
        style_put(out, look.coloured, STYLE_WELL);
        break;
    case BOARD_SERVICE_OFFLINE:
        snprintf(words, sizeof words,
                 "SERVICE NOT RUNNING: what stands here is old, and nobody watches the tanks");
        style_put(out, look.coloured, STYLE_ALARM);
        break;
    case BOARD_SERVICE_UNKNOWN:
        snprintf(words, sizeof words, "no word from the service: has it ever run with this broker?");
        style_put(out, look.coloured, STYLE_ALARM);
        break;
    }
    text_put(out, words);
    style_put(out, look.coloured, STYLE_PLAIN);
    if (board->service_note[0] != 0) {
        text_put(out, " · ");
        width_wrap(out, board->service_note, look.columns, 2, width_of(words) + 3);
    } else {
        text_put(out, "\n");
    }
}

/* --- alerts in sentences --- */

static void put_line(struct text *out, const char *lead, const char *words, struct board_look look)
{
    text_printf(out, "    %s", lead);
    width_wrap(out, words, look.columns, 4, 4 + width_of(lead));
}

static void put_alert(struct text *out, const struct board *board, const struct board_alert *a,
                      struct board_look look)
{
    char words[512], span[64] = "";
    if (utc_is_set(a->since))
        span_format(board->now.ms - a->since.ms, span, sizeof span);
    snprintf(words, sizeof words, "%s priority, %s: %s%s%s, %s%s%s", priority_name(a->priority), a->place,
             a->title, span[0] != 0 ? ", for " : "", span, state_words(a->state),
             a->who[0] != 0 ? " by " : "", a->who);
    style_put(out, look.coloured, style_of(a));
    width_wrap(out, words, look.columns, 4, 0);
    style_put(out, look.coloured, STYLE_PLAIN);
    if (a->led)
        return;
    if (a->cause[0] != 0 && strstr(a->title, a->cause) == NULL)
        put_line(out, "Cause: ", a->cause, look);
    if (a->evidence[0] != 0)
        put_line(out, "", a->evidence, look);
    if (utc_is_set(a->due) && a->due.ms > board->now.ms) {
        span_format(a->due.ms - board->now.ms, span, sizeof span);
        snprintf(words, sizeof words, "about %s", span);
        put_line(out, "Time left: ", words, look);
    }
    if (a->action[0] != 0 && strcmp(a->state, "RTNUN") != 0) /* what is over asks for no more than a look */
        put_line(out, "To do: ", a->action, look);
}

void board_put(struct text *out, const struct board *board, struct board_look look)
{
    if (look.columns < COLUMNS_LEAST)
        look.columns = COLUMNS_LEAST;
    struct plan plan = plan_for(board, look.columns);
    put_service(out, board, look);
    text_put(out, "\n");
    put_titles(out, &plan, look);
    for (int i = 0; i < board->tank_count; i++)
        put_tank(out, board, &plan, &board->tanks[i], look);
    put_legend(out, board, look);
    put_sources(out, board, look);
    text_put(out, "\n");
    if (board->alert_count == 0)
        text_put(out, board->service == BOARD_SERVICE_ONLINE ? "No alerts.\n" : "No alerts known.\n");
    for (int i = 0; i < board->alert_count; i++)
        put_alert(out, board, &board->alerts[i], look);
}
