#include "wire/encode_source.h"

#include <math.h>
#include <stdio.h>

#include "wire/json.h"

static void put_value(const struct source_value *v, enum quantity q, struct text *out)
{
    const struct quantity_info *info = quantity_info(q);
    json_key(out, info->name);
    json_open(out, '{');
    json_put_number(out, "value", v->value, info->decimals + 1);
    json_put_text(out, "unit", info->unit);
    json_put_number(out, "sd", v->sd, info->decimals + 1);
    json_put_text(out, "origin", value_origin_name(v->origin));
    json_put_time(out, "t", v->t);
    json_key(out, "tests");
    json_int(out, v->tests);
    json_put_number(out, "year_lo", v->lo, info->decimals + 1);
    json_put_number(out, "year_hi", v->hi, info->decimals + 1);
    json_close(out, '}');
}

static void put_values(const struct source_water *w, struct text *out)
{
    json_key(out, "values");
    json_open(out, '{');
    for (int q = 0; q < Q_COUNT; q++)
        if (w->values[q].origin != ORIGIN_NONE)
            put_value(&w->values[q], (enum quantity)q, out);
    json_close(out, '}');
}

static void put_probe(const struct source_live *live, struct text *out)
{
    json_key(out, "probe");
    if (live->ec.origin == ORIGIN_NONE) {
        json_null(out);
        return;
    }
    json_open(out, '{');
    json_put_number(out, "ec", live->ec.value, 2);
    json_put_time(out, "t", live->ec.t);
    json_put_bool(out, "stale", live->ec.stale);
    json_put_number(out, "per_day", live->trend.per_day, 4);
    json_put_number(out, "per_day_sd", live->trend.sd, 4);
    json_put_number(out, "span_d", live->trend.span_d, 2);
    json_close(out, '}');
}

void encode_source_wear(const struct source_water *w, struct text *out)
{
    json_put_number(out, "rejection", w->rejection, 4);
    json_put_number(out, "rejection_sd", w->rejection_sd, 4);
    json_put_number(out, "feed_ec", w->feed_ec, 1);
    json_put_time(out, "feed_t", w->feed_t);
    json_put_number(out, "ec_per_day", w->trend.per_day, 3);
    json_put_number(out, "ec_per_day_sd", w->trend.sd, 3);
    json_put_text(out, "trend_from", isnan(w->trend.per_day) ? NULL : w->trend_by_tests ? "hand" : "probe");
    json_put_text(out, "wear", source_wear_name(w->wear));
    json_put_number(out, "exhausted_ec", w->exhausted_ec, 1);
    json_put_time(out, "exhausted", w->exhausted);
    json_put_time(out, "exhausted_early", w->early);
    json_put_time(out, "exhausted_late", w->late);
}

static void put_remarks(const struct week_remark *remarks, int count, struct text *out)
{
    json_key(out, "remarks");
    json_open(out, '[');
    for (int i = 0; i < count; i++) {
        json_open(out, '{');
        json_put_text(out, "kind", week_remark_name(remarks[i].kind));
        json_put_text(out, "text", remarks[i].text);
        json_close(out, '}');
    }
    json_close(out, ']');
}

void encode_source(const struct site *site, const struct source_live *live, const struct source_water *w,
                   const struct week_remark *remarks, int remark_count, struct text *out)
{
    const struct source *source = &site->sources[w->source];
    char buf[256];
    struct text words = text_over(buf, sizeof buf);
    source_water_words(w, &words);
    json_open(out, '{');
    json_key(out, "v");
    json_int(out, 1);
    json_put_text(out, "source", site->places[source->place].id);
    json_put_text(out, "name", site->places[source->place].name);
    json_put_text(out, "kind", source_kind_name(source->kind));
    json_put_time(out, "t", w->t);
    json_put_text(out, "text", words.len > 0 ? buf : NULL);
    put_values(w, out);
    put_probe(live, out);
    encode_source_wear(w, out);
    put_remarks(remarks, remark_count, out);
    json_close(out, '}');
}

/* --- read back --- */

static double number(const struct json_doc *doc, const char *pointer)
{
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : (double)NAN;
}

enum status encode_source_parse(const char *json, size_t n, struct source_live *out)
{
    struct json_doc doc;
    *out = SOURCE_LIVE_NONE;
    if (json_doc_parse(json, n, &doc, NULL) != STATUS_OK)
        return STATUS_INVALID;
    bool ours = number(&doc, "/v") == 1 && json_doc_at(&doc, "/values").kind == JSON_KIND_CONTAINER;
    double ec = number(&doc, "/probe/ec"), span_d = number(&doc, "/probe/span_d");
    utc_t t = json_doc_time(&doc, "/probe/t");
    if (ours && !isnan(ec) && utc_is_set(t)) {
        out->ec.origin = ORIGIN_PROBE;
        out->ec.value = ec;
        out->ec.t = t;
        out->ec.flag = FLAG_GOOD;
        out->ec.stale = number(&doc, "/probe/stale") > 0;
        out->trend = (struct source_trend){ number(&doc, "/probe/per_day"), number(&doc, "/probe/per_day_sd"),
                                            isnan(span_d) ? 0 : span_d };
    }
    json_doc_fini(&doc);
    return ours ? STATUS_OK : STATUS_INVALID;
}
