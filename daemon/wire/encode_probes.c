#include "wire/encode_probes.h"

#include <math.h>

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
    json_put_number(out, "value", r->last_value, q->decimals);
    json_key(out, "unit");
    json_string(out, q->unit);
    json_key(out, "t");
    json_time(out, r->last_t);
    json_put_number(out, "age_s", utc_is_set(r->last_t) ? (double)(t.ms - r->last_t.ms) / 1000 : (double)NAN,
                    0);
    json_key(out, "flag");
    if (r->seen)
        json_int(out, r->flag);
    else
        json_null(out);
    json_key(out, "stale");
    json_bool(out, r->stale);
    json_put_number(out, "every_s", r->cadence_s, 1);
    json_put_number(out, "good_share", r->good_share, 4);
}

static void put_calibration(const struct probe_report *r, struct text *out)
{
    const struct calib *c = &r->calib;
    bool electrode = c->kind == CALIB_ELECTRODE;
    json_key(out, "calibrated");
    json_time(out, c->since);
    json_put_number(out, "slope_percent",
                    electrode ? 50 * (c->slope_fraction[0] + c->slope_fraction[1]) : (double)NAN, 1);
    json_put_number(out, "slope_month", r->slope_month, 2);
    json_put_number(out, "gain", electrode ? (double)NAN : c->gain, 5);
    json_put_number(out, "offset", electrode ? c->offset_mv : c->offset, 4);
}

static void put_device(const struct probe_entry *entry, const struct probe_report *r, struct text *out)
{
    json_put_text(out, "device", r->device[0] != '\0' ? r->device : entry->device);
    json_key(out, "device_since");
    json_time(out, r->device_since);
    json_key(out, "uncalibrated");
    json_bool(out, r->fresh);
    json_put_number(out, "battery", r->battery, 2);
    json_put_text(out, "battery_unit", isnan(r->battery) ? NULL : entry->battery_unit);
    json_key(out, "battery_low");
    if (isnan(r->battery) || isnan(entry->battery_low))
        json_null(out);
    else
        json_bool(out, r->battery < entry->battery_low);
    json_put_number(out, "link", r->link, 0);
    json_put_text(out, "link_unit", isnan(r->link) ? NULL : entry->link_unit);
}

void encode_probes_add(const struct site *site, const struct probe_report *r, utc_t t, struct text *out)
{
    const struct stream *s = &site->streams[r->stream];
    bool first = out->len > 0 && out->buf[out->len - 1] == '[';
    text_put(out, first ? "\n" : ",\n");
    json_open(out, '{');
    json_put_text(out, "probe", s->name);
    json_put_text(out, "place", site->places[s->place].text);
    json_put_text(out, "quantity", quantity_info(s->quantity)->name);
    put_device(site_stream_entry(site, r->stream), r, out);
    put_last(s, r, t, out);
    put_calibration(r, out);
    json_put_int(out, "received", r->received);
    json_put_int(out, "missing", r->missing);
    json_put_int(out, "rejected", r->rejected);
    json_put_int(out, "duplicates", r->duplicates);
    json_put_int(out, "conflicts", r->conflicts);
    json_put_int(out, "late", r->late);
    json_put_int(out, "retained", r->retained);
    json_put_int(out, "nothing_asked_for", r->absent);
    json_put_text(out, "last_reason", r->last_reason);
    json_put_text(out, "last_sample", r->last_sample);
    json_close(out, '}');
}

void encode_probes_end(struct text *out)
{
    text_put(out, "\n");
    json_close(out, ']');
    json_close(out, '}');
}
