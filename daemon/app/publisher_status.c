#include "app/publisher_status.h"

#include <math.h>

static void put_uint(struct text *out, const char *key, uint64_t v)
{
    json_key(out, key);
    json_int(out, (long long)v);
}

static void put_known(struct text *out, const char *key, int64_t v)
{
    json_key(out, key);
    if (v < 0)
        json_null(out);
    else
        json_int(out, v);
}

static void format_counters(const struct pump *pump, const struct publisher_news *news, struct text *out)
{
    struct engine_counts c = engine_counts(pump->engine);
    json_key(out, "counters");
    json_open(out, '{');
    put_uint(out, "messages", pump->counts.messages);
    put_uint(out, "nobodys", pump->counts.nobodys);
    put_uint(out, "readings", c.readings);
    put_uint(out, "missing", c.missing);
    put_uint(out, "rejected", c.rejected);
    put_uint(out, "unreadable", c.unreadable);
    put_uint(out, "wrong_unit", c.wrong_unit);
    put_uint(out, "nothing_asked_for", c.absent);
    put_uint(out, "values_left_out", pump->counts.left_out);
    put_uint(out, "times_not_believed", c.times);
    put_uint(out, "kept_from_limits", c.kept_out);
    put_uint(out, "thinned_without_clock", c.thinned);
    put_uint(out, "duplicates", c.duplicates);
    put_uint(out, "conflicts", c.conflicts);
    put_uint(out, "late", c.late);
    put_uint(out, "retained_ignored", c.retained);
    put_uint(out, "commands", pump->counts.commands);
    put_uint(out, "commands_refused", pump->counts.commands_refused);
    put_uint(out, "stored", news->store.stored);
    put_uint(out, "given_way", news->store.given_way);
    put_uint(out, "store_failures", news->store.failures);
    put_uint(out, "messages_dropped", news->store.outbox_dropped);
    put_uint(out, "held_back", news->link.held_back);
    put_uint(out, "inbox_damaged", news->inbox.damaged);
    put_uint(out, "too_long", news->inbox.refused_long);
    put_uint(out, "published", news->link.published);
    json_close(out, '}');
}

static void put_load(const struct pump *pump, struct now now, struct text *out)
{
    struct engine_load load = engine_load(pump->engine, now);
    json_key(out, "alerts");
    json_open(out, '{');
    put_uint(out, "active", (uint64_t)load.active);
    put_uint(out, "standing", (uint64_t)load.standing);
    put_uint(out, "shelved", (uint64_t)load.shelved);
    put_uint(out, "out_of_service", (uint64_t)load.out_of_service);
    put_uint(out, "chattering", (uint64_t)load.chattering);
    put_uint(out, "raises_day", load.raises_day);
    put_uint(out, "high_day", load.high_day);
    json_key(out, "flood");
    json_bool(out, load.flood);
    json_close(out, '}');
}

static void put_scores(const struct pump *pump, struct text *out)
{
    struct forecast_scores s = engine_scores(pump->engine);
    json_key(out, "forecasts");
    json_open(out, '{');
    put_uint(out, "made", s.made);
    put_uint(out, "reached", s.reached);
    put_uint(out, "within", s.within);
    put_uint(out, "outside", s.outside);
    put_uint(out, "overtaken", s.overtaken);
    json_key(out, "mean_error_share");
    json_number(out, s.reached > 0 ? s.error_sum / s.reached : (double)NAN, 2);
    json_close(out, '}');
}

void publisher_status_format(const struct pump *pump, const struct publisher_news *news, struct now started,
                             struct now now, struct text *out)
{
    json_open(out, '{');
    json_key(out, "v");
    json_int(out, 1);
    json_key(out, "state");
    json_string(out, "online");
    json_key(out, "t");
    json_time(out, now.utc);
    json_key(out, "version");
    json_string(out, LENTIC_VERSION);
    json_key(out, "since");
    json_time(out, started.utc);
    json_key(out, "clock_trusted");
    json_bool(out, now.trusted);
    format_counters(pump, news, out);
    put_load(pump, now, out);
    put_scores(pump, out);
    json_key(out, "last_commit");
    json_time(out, news->store.last_commit);
    json_key(out, "store");
    json_string(out, news->store.failing ? news->store.reason : "ok");
    json_key(out, "store_bytes");
    json_int(out, news->store.file_bytes);
    json_key(out, "log_bytes");
    json_int(out, news->store.wal_bytes);
    put_known(out, "disk_bytes", news->disk_bytes);
    put_known(out, "disk_bytes_day", news->disk_bytes_day);
    json_key(out, "queue");
    json_int(out, (long long)news->inbox.waiting_records + (long long)news->store.buffered);
    json_close(out, '}');
}
