#include "wire/encode_probes.h"

#include <math.h>

static void put_number(struct text *out, const char *key, double v, int decimals)
{
    json_key(out, key);
    json_number(out, v, decimals);
}

static void put_text(struct text *out, const char *key, const char *s)
{
    json_key(out, key);
    if (s != NULL && s[0] != '\0')
        json_string(out, s);
    else
        json_null(out);
}

static void put_count(struct text *out, const char *key, uint32_t n)
{
    json_key(out, key);
    json_int(out, n);
}

void encode_probes_begin(utc_t t, struct text *out)
{
    json_open(out, '{');
    json_key(out, "v");
    json_int(out, 1);
    json_key(out, "t");
    json_time(out, t);
    json_key(out, "probes");
    json_open(out, '[');
}

static void put_last(const struct stream *s, const struct probe_report *r, utc_t t, struct text *out)
{
    const struct quantity_info *q = quantity_info(s->quantity);
    put_number(out, "value", r->last_value, q->decimals);
    json_key(out, "unit");
    json_string(out, q->unit);
    json_key(out, "t");
    json_time(out, r->last_t);
    put_number(out, "age_s", utc_is_set(r->last_t) ? (double)(t.ms - r->last_t.ms) / 1000 : (double)NAN, 0);
    json_key(out, "flag");
    if (r->seen)
        json_int(out, r->flag);
    else
        json_null(out);
    json_key(out, "stale");
    json_bool(out, r->stale);
    put_number(out, "every_s", r->cadence_s, 1);
    put_number(out, "good_share", r->good_share, 4);
}

static void put_calibration(const struct probe_report *r, struct text *out)
{
    const struct calib *c = &r->calib;
    bool electrode = c->kind == CALIB_ELECTRODE;
    json_key(out, "calibrated");
    json_time(out, c->since);
    put_number(out, "slope_percent",
               electrode ? 50 * (c->slope_fraction[0] + c->slope_fraction[1]) : (double)NAN, 1);
    put_number(out, "slope_month", r->slope_month, 2);
    put_number(out, "gain", electrode ? (double)NAN : c->gain, 5);
    put_number(out, "offset", electrode ? c->offset_mv : c->offset, 4);
}

static void put_device(const struct probe_entry *entry, const struct probe_report *r, struct text *out)
{
    put_text(out, "device", r->device[0] != '\0' ? r->device : entry->device);
    json_key(out, "device_since");
    json_time(out, r->device_since);
    json_key(out, "uncalibrated");
    json_bool(out, r->fresh);
    put_number(out, "battery", r->battery, 2);
    put_text(out, "battery_unit", isnan(r->battery) ? NULL : entry->battery_unit);
    json_key(out, "battery_low");
    if (isnan(r->battery) || isnan(entry->battery_low))
        json_null(out);
    else
        json_bool(out, r->battery < entry->battery_low);
    put_number(out, "link", r->link, 0);
    put_text(out, "link_unit", isnan(r->link) ? NULL : entry->link_unit);
}

void encode_probes_add(const struct site *site, const struct probe_report *r, utc_t t, struct text *out)
{
    const struct stream *s = &site->streams[r->stream];
    bool first = out->len > 0 && out->buf[out->len - 1] == '[';
    text_put(out, first ? "\n" : ",\n");
    json_open(out, '{');
    put_text(out, "probe", s->name);
    put_text(out, "place", site->places[s->place].text);
    put_text(out, "quantity", quantity_info(s->quantity)->name);
    put_device(site_stream_entry(site, r->stream), r, out);
    put_last(s, r, t, out);
    put_calibration(r, out);
    put_count(out, "received", r->received);
    put_count(out, "missing", r->missing);
    put_count(out, "rejected", r->rejected);
    put_count(out, "duplicates", r->duplicates);
    put_count(out, "conflicts", r->conflicts);
    put_count(out, "late", r->late);
    put_count(out, "retained", r->retained);
    put_count(out, "nothing_asked_for", r->absent);
    put_text(out, "last_reason", r->last_reason);
    put_text(out, "last_sample", r->last_sample);
    json_close(out, '}');
}

void encode_probes_end(struct text *out)
{
    text_put(out, "\n");
    json_close(out, ']');
    json_close(out, '}');
}
