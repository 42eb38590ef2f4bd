#include "model/week.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

enum quantity week_quantity(enum week_axis axis)
{
    static const enum quantity of[WEEK_AXES] = {
        [WEEK_EC] = Q_EC, [WEEK_GH] = Q_GH, [WEEK_KH] = Q_KH, [WEEK_NO3] = Q_NO3, [WEEK_TEMP] = Q_TEMP
    };
    return of[axis];
}

const char *week_origin_name(enum week_origin o)
{
    static const char *const names[] = {
        [WEEK_UNKNOWN] = "",     [WEEK_PROBE] = "probe",       [WEEK_HAND] = "hand",
        [WEEK_BATCH] = "batch",  [WEEK_RECKONED] = "reckoned", [WEEK_TARGET] = "target",
        [WEEK_MIXED] = "recipe", [WEEK_PURE] = "purified",     [WEEK_SOURCE] = "source",
        [WEEK_ROOM] = "room",    [WEEK_BROUGHT] = "tank"
    };
    return names[o];
}

const char *week_reason_name(enum week_reason r)
{
    static const char *const names[] = { "calendar", "off-target", "trend", "nitrate", "continued" };
    return names[r];
}

const char *week_topoff_name(enum week_topoff t)
{
    static const char *const names[] = { "", "configured", "noted", "evaporation", "reckoned" };
    return names[t];
}

const char *week_stored_name(enum week_stored s)
{
    static const char *const names[] = { "", "batch", "level" };
    return names[s];
}

const char *week_remark_name(enum week_remark_kind k)
{
    static const char *const names[] = { "missing", "assumed", "caution" };
    return names[k];
}

static void put(struct text *out, enum week_axis axis, double v)
{
    const struct quantity_info *q = quantity_info(week_quantity(axis));
    text_printf(out, "%.*f %s", q->decimals, v, q->unit);
}

static void calendar_words(const struct week_tank *w, const struct week_stage *stage, struct text *out)
{
    double days = (double)(stage->at.ms - w->last_change.ms) / (double)MS_PER_DAY;
    if (stage != &w->stages[0] || !utc_is_set(w->last_change))
        text_printf(out, "calendar: every %.3g days", w->every_d);
    else
        text_printf(out, "calendar: every %.3g days, the last was %.0f days before", w->every_d,
                    fmax(days, 0));
}

static const char *title_of(enum week_axis axis)
{
    return axis == WEEK_EC ? "EC" : quantity_info(week_quantity(axis))->title;
}

static void also_words(const struct week_stage *stage, struct text *out)
{
    for (int axis = 0; axis < WEEK_TEMP; axis++) {
        if ((stage->also & 1u << axis) == 0)
            continue;
        text_printf(out, "; also %s ", title_of((enum week_axis)axis));
        put(out, (enum week_axis)axis, stage->before[axis]);
    }
}

static void main_words(const struct week_tank *w, const struct week_stage *stage, struct text *out)
{
    const char *title = title_of(stage->axis);
    bool over = stage->before[stage->axis] > stage->limit;
    switch (stage->reason) {
    case WEEK_CALENDAR:
        calendar_words(w, stage, out);
        return;
    case WEEK_CONTINUED:
        text_put(out, "next stage");
        return;
    case WEEK_TREND:
        text_printf(out, "%s moves %+.*f a day and passes ", title,
                    quantity_info(week_quantity(stage->axis))->decimals + 1, w->per_day[stage->axis]);
        put(out, stage->axis, stage->limit);
        return;
    default:
        text_printf(out, "%s ", title);
        put(out, stage->axis, stage->before[stage->axis]);
        text_printf(out, ", %s ", over ? "above" : "below");
        put(out, stage->axis, stage->limit);
        if ((w->doubted & 1u << stage->axis) != 0)
            text_put(out, " (test it again first: EC does not bear it out)");
    }
}

void week_reason_words(const struct week_tank *w, const struct week_stage *stage, struct text *out)
{
    main_words(w, stage, out);
    also_words(stage, out);
}

void week_remark(struct week_remark *remarks, int *count, enum week_remark_kind kind, const char *format, ...)
{
    va_list args;
    if (*count == WEEK_REMARKS_MAX)
        return;
    struct week_remark *r = &remarks[(*count)++];
    r->kind = kind;
    va_start(args, format);
    (void)vsnprintf(r->text, sizeof r->text, format, args);
    va_end(args);
}

bool week_is_feasible(const struct week_room *room)
{
    for (int i = 0; i < room->source_count; i++)
        if (room->sources[i].short_l > 0)
            return false;
    for (int i = 0; i < room->salt_count; i++)
        if (room->salts[i].short_now)
            return false;
    for (int i = 0; i < room->water_count; i++)
        if (!room->waters[i].mixed)
            return false;
    return true;
}
