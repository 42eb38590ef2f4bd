#include "wire/tank_document.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "wire/json.h"

static const struct value_report unknown = {
    .origin = ORIGIN_NONE, .value = NAN, .t = { INT64_MIN }, .per_day = NAN, .day_lo = NAN, .day_hi = NAN
};

void tank_document_empty(int tank, struct tank_report *out)
{
    memset(out, 0, sizeof *out);
    out->tank = tank;
    out->t = out->last_change = out->service_until = UTC_NONE;
    for (int q = 0; q < Q_COUNT; q++)
        out->values[q] = unknown;
    for (int d = 0; d < DERIVED_COUNT; d++) {
        out->derived[d] = unknown;
        out->derived_sd[d] = NAN;
    }
    out->tds_factor = out->last_step_ec = NAN;
    out->heat = (struct heat_report){ NAN, NAN, NAN, NAN, NAN, NAN };
    out->solids = (struct solids_report){ NAN, NAN, 0, NAN, false };
    out->forecast.quantity = Q_COUNT;
}

static double number(const struct json_doc *doc, const char *base, const char *name)
{
    char pointer[96];
    (void)snprintf(pointer, sizeof pointer, "%s/%s", base, name);
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : (double)NAN;
}

static enum value_origin origin_of(const struct json_doc *doc, const char *base)
{
    char pointer[96], name[16];
    (void)snprintf(pointer, sizeof pointer, "%s/origin", base);
    json_doc_text(doc, pointer, name, sizeof name);
    for (int o = ORIGIN_PROBE; o <= ORIGIN_DERIVED; o++)
        if (strcmp(value_origin_name((enum value_origin)o), name) == 0)
            return (enum value_origin)o;
    return ORIGIN_NONE;
}

static struct value_report value_at(const struct json_doc *doc, const char *base)
{
    char pointer[96];
    struct value_report v = unknown;
    double flag = number(doc, base, "flag");
    v.value = number(doc, base, "value");
    v.origin = isnan(v.value) ? ORIGIN_NONE : origin_of(doc, base);
    if (v.origin == ORIGIN_NONE)
        return unknown;
    (void)snprintf(pointer, sizeof pointer, "%s/t", base);
    v.t = json_doc_time(doc, pointer);
    v.flag = flag >= FLAG_GOOD && flag <= FLAG_MISSING ? (enum flag)(int)flag : FLAG_NOT_EVALUATED;
    v.stale = number(doc, base, "stale") > 0;
    v.per_day = number(doc, base, "per_day");
    v.day_lo = number(doc, base, "day_lo");
    v.day_hi = number(doc, base, "day_hi");
    return utc_is_set(v.t) ? v : unknown;
}

enum status tank_document_parse(int tank, const char *json, size_t n, struct tank_report *out)
{
    struct json_doc doc;
    char base[64];
    tank_document_empty(tank, out);
    enum status st = json_doc_parse(json, n, &doc, NULL);
    if (st != STATUS_OK)
        return STATUS_INVALID;
    out->t = json_doc_time(&doc, "/t");
    for (int q = 0; q < Q_COUNT; q++) {
        (void)snprintf(base, sizeof base, "/values/%s", quantity_info((enum quantity)q)->name);
        out->values[q] = value_at(&doc, base);
    }
    for (int d = 0; d < DERIVED_COUNT; d++) {
        (void)snprintf(base, sizeof base, "/derived/%s", derived_name((enum derived)d));
        out->derived[d] = value_at(&doc, base);
        out->derived_sd[d] = number(&doc, base, "sd");
    }
    out->solids = (struct solids_report){ number(&doc, "/solids", "ec_per_day"),
                                          number(&doc, "/solids", "ec_per_day_sd"),
                                          number(&doc, "/solids", "span_days"),
                                          number(&doc, "/solids", "evaporation_day"), false };
    char from[16];
    json_doc_text(&doc, "/solids/evaporation_from", from, sizeof from);
    out->solids.evaporation_reckoned = strcmp(from, "reckoned") == 0;
    if (isnan(out->solids.span_days))
        out->solids.span_days = 0;
    out->last_change = json_doc_time(&doc, "/last_change/t");
    out->last_step_ec = number(&doc, "/last_change", "step_ec");
    json_doc_fini(&doc);
    return STATUS_OK;
}
