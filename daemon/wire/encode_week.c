#include "wire/encode_week.h"

#include <math.h>

#include "wire/encode_source.h"

static void begin_list(struct text *out, const char *key)
{
    json_key(out, key);
    json_open(out, '[');
}

static void put_remarks(const struct week_remark *remarks, int count, struct text *out)
{
    begin_list(out, "remarks");
    for (int i = 0; i < count; i++) {
        json_open(out, '{');
        json_put_text(out, "kind", week_remark_name(remarks[i].kind));
        json_put_text(out, "text", remarks[i].text);
        json_close(out, '}');
    }
    json_close(out, ']');
}

/* --- a tank --- */

static void put_axes(struct text *out, const char *key, const double *v, const double *less)
{
    json_key(out, key);
    json_open(out, '{');
    for (int i = 0; i < WEEK_AXES; i++) {
        const struct quantity_info *q = quantity_info(week_quantity((enum week_axis)i));
        json_put_number(out, q->name, less == NULL ? v[i] : v[i] - less[i], q->decimals + 1);
    }
    json_close(out, '}');
}

static const char *limited_by(const struct week_stage *s)
{
    if (s->bound == WEEK_BY_STEP)
        return quantity_info(week_quantity(s->bound_axis))->name;
    return s->bound == WEEK_BY_SHARE ? "share" : "need";
}

static void put_stage(const struct site *site, const struct week_tank *w, const struct week_stage *s,
                      struct text *out)
{
    char words[160];
    struct text why = text_over(words, sizeof words);
    int water = site->tanks[w->tank].water;
    week_reason_words(w, s, &why);
    json_open(out, '{');
    json_put_time(out, "at", s->at);
    json_put_number(out, "litres", s->litres, 2);
    json_put_number(out, "share", s->share, 4);
    json_put_text(out, "water", water < 0 ? NULL : site->waters[water].id);
    json_put_text(out, "reason", week_reason_name(s->reason));
    json_put_text(out, "limited_by", limited_by(s));
    json_put_text(out, "why", words);
    put_axes(out, "steps", s->after, s->before);
    put_axes(out, "after", s->after, NULL);
    json_put_number(out, "water_temp", s->fresh_c, 1);
    json_put_bool(out, "bring", s->brought);
    json_close(out, '}');
}

static void put_topoff(const struct week_tank *w, struct text *out)
{
    json_key(out, "topoff");
    json_open(out, '{');
    json_put_number(out, "l_day", w->topoff_l_day, 3);
    json_put_text(out, "from", week_topoff_name(w->topoff_from));
    json_close(out, '}');
    json_key(out, "reservoir");
    if (isnan(w->reservoir_l)) {
        json_null(out);
        return;
    }
    json_open(out, '{');
    json_put_number(out, "holds_l", w->reservoir_l, 1);
    json_put_number(out, "lasts_d", w->reservoir_lasts_d, 1);
    json_put_time(out, "filled", w->reservoir_filled);
    json_put_time(out, "empty", w->reservoir_empty);
    json_close(out, '}');
}

static void put_tests(const struct week_tank *w, struct text *out)
{
    begin_list(out, "tests");
    for (int i = 0; i < w->test_count; i++) {
        json_open(out, '{');
        json_put_text(out, "quantity", quantity_info(w->tests[i].quantity)->name);
        json_put_time(out, "last", w->tests[i].last);
        json_put_time(out, "due", w->tests[i].due);
        json_close(out, '}');
    }
    json_close(out, ']');
}

void encode_week_tank(const struct site *site, const struct week_tank *w, struct text *out)
{
    json_open(out, '{');
    json_put_time(out, "t", w->from);
    json_put_number(out, "days", w->days, 0);
    json_put_time(out, "last_change", w->last_change);
    begin_list(out, "changes");
    for (int i = 0; i < w->stage_count; i++)
        put_stage(site, w, &w->stages[i], out);
    json_close(out, ']');
    json_put_int(out, "later", w->later);
    put_topoff(w, out);
    put_tests(w, out);
    put_remarks(w->remarks, w->remark_count, out);
    json_close(out, '}');
}

/* --- the room --- */

/* What it is made from. */
static void put_base(const struct week_water *w, struct text *out)
{
    json_key(out, "base");
    json_open(out, '{');
    json_put_number(out, "ec", w->base.ec, 1);
    json_put_number(out, "gh", w->base.gh, 2);
    json_put_number(out, "kh", w->base.kh, 2);
    json_close(out, '}');
}

static void put_water(const struct site *site, const struct week_water *w, struct text *out)
{
    double nan = (double)NAN;
    json_open(out, '{');
    json_put_text(out, "water", site->waters[w->water].id);
    json_put_number(out, "litres", w->litres, 2);
    json_put_number(out, "stored_l", w->stored_l, 2);
    json_put_text(out, "stored_from", week_stored_name(w->stored_from));
    json_put_number(out, "mix_l", w->mix_l, 2);
    json_put_int(out, "tanks", w->tanks);
    json_put_time(out, "first", w->first);
    begin_list(out, "salts");
    for (int i = 0; i < w->part_count; i++) {
        json_open(out, '{');
        json_put_text(out, "salt", site->salts[w->parts[i].salt].id);
        json_put_number(out, "grams", w->parts[i].grams, 3);
        json_put_number(out, "pure_grams", w->parts[i].pure_g, 3);
        json_close(out, '}');
    }
    json_close(out, ']');
    put_base(w, out);
    json_put_number(out, "ec", w->mixed ? w->ec : nan, 1);
    json_put_number(out, "ec_sd", w->mixed ? w->ec_sd : nan, 1);
    json_put_number(out, "gh", w->mixed ? w->gh : nan, 2);
    json_put_number(out, "kh", w->mixed ? w->kh : nan, 2);
    json_put_text(out, "text", w->mixed ? NULL : w->why.text);
    json_close(out, '}');
}

static void put_salt(const struct site *site, const struct week_salt *s, struct text *out)
{
    json_open(out, '{');
    json_put_text(out, "salt", site->salts[s->salt].id);
    json_put_number(out, "grams", s->grams, 3);
    json_put_number(out, "left_g", s->left_g, 1);
    json_put_number(out, "used_g", s->used_g, 1);
    json_put_number(out, "per_day_g", s->per_day, 3);
    json_put_bool(out, "by_batches", s->by_batches);
    json_put_time(out, "out", s->out);
    json_put_bool(out, "short", s->short_now);
    json_close(out, '}');
}

static void put_source(const struct site *site, const struct week_source *s, struct text *out)
{
    json_open(out, '{');
    json_put_text(out, "source", site->places[site->sources[s->source].place].id);
    json_put_number(out, "mix_l", s->mix_l, 1);
    json_put_number(out, "topoff_l", s->topoff_l, 1);
    json_put_int(out, "unknown_topoffs", s->unknown_topoffs);
    json_put_number(out, "gives_l", s->gives_l, 1);
    json_put_number(out, "short_l", s->short_l, 1);
    json_put_time(out, "short_at", s->short_at);
    encode_source_wear(&s->water, out);
    json_close(out, '}');
}

static void put_calibration(const struct site *site, const struct week_calibration *c, struct text *out)
{
    const struct stream *stream = &site->streams[c->stream];
    json_open(out, '{');
    json_put_text(out, "probe", stream->name);
    json_put_text(out, "place", site->places[stream->place].text);
    json_put_text(out, "quantity", quantity_info(stream->quantity)->name);
    json_put_time(out, "last", c->last);
    json_put_time(out, "due", c->due);
    json_put_bool(out, "new", c->fresh);
    json_close(out, '}');
}

void encode_week_room(const struct site *site, const struct week_room *w, struct text *out)
{
    json_open(out, '{');
    json_put_int(out, "v", 1);
    json_put_time(out, "t", w->from);
    json_put_number(out, "days", w->days, 0);
    json_put_bool(out, "feasible", week_is_feasible(w));
    begin_list(out, "waters");
    for (int i = 0; i < w->water_count; i++)
        put_water(site, &w->waters[i], out);
    json_close(out, ']');
    begin_list(out, "salts");
    for (int i = 0; i < w->salt_count; i++)
        put_salt(site, &w->salts[i], out);
    json_close(out, ']');
    begin_list(out, "sources");
    for (int i = 0; i < w->source_count; i++)
        put_source(site, &w->sources[i], out);
    json_close(out, ']');
    begin_list(out, "calibrations");
    for (int i = 0; i < w->calibration_count; i++)
        put_calibration(site, &w->calibrations[i], out);
    json_close(out, ']');
    json_put_int(out, "never_calibrated", w->never_calibrated);
    put_remarks(w->remarks, w->remark_count, out);
    json_close(out, '}');
}
