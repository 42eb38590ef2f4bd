/* The service looks at itself: whether it makes progress, what of it is wrong, and what the service manager
 * is told. */
#include "app/daemon.h"

#include <stdio.h>

#include "adapters/files.h"
#include "adapters/log.h"
#include "adapters/sd.h"

#define HELD_BACK_MS        (5 * MS_PER_MIN)
#define WEAR_LOOK_MS        (2 * MS_PER_S)
#define RULES_LATE_MS       (2 * MS_PER_MIN)
#define CERTIFICATE_SOON_MS (30 * MS_PER_DAY)

/* Connected, but of the beats that we sent none came back for long. */
static bool is_deaf(const struct daemon *d, const struct mqtt_state *link)
{
    int64_t most_ms = (int64_t)(5 * d->site->publish.heartbeat_s * (double)MS_PER_S) + MS_PER_MIN;
    return link->link == MQTT_UP && d->site->publish.heartbeat_s > 0 && mono_is_set(d->publisher.beat_sent) &&
           d->publisher.beat_sent.ms > d->echo_at.ms && d->now.mono.ms - d->echo_at.ms > most_ms &&
           d->now.mono.ms - link->since.ms > most_ms;
}

/* With the ring empty, what was due long ago should have run. */
static bool rules_lag(const struct daemon *d, bool empty)
{
    return empty && pump_deadline(&d->pump).ms + RULES_LATE_MS < d->now.mono.ms;
}

void selfwatch_progress(struct daemon *d, struct publisher_news *news, bool empty)
{
    news->progress = !news->store.failing && news->link.link == MQTT_UP && !rules_lag(d, empty);
    d->progress = news->progress && !is_deaf(d, &news->link);
}

void selfwatch_wear(struct daemon *d, struct publisher_news *news)
{
    if (d->wear.count == 0 || d->now.mono.ms - d->wear.now.ms >= WEAR_LOOK_MS)
        wear_note(&d->wear, files_written(), d->now.mono);
    news->disk_bytes = d->wear.now_bytes;
    news->disk_bytes_day = wear_per_day(&d->wear);
}

/* Anybody may read for a while, so the kind waits some minutes. */
static void judge_log(struct daemon *d, const struct publisher_news *news)
{
    bool held = news->store.wal_bytes > (int64_t)d->site->store.log_most_mib << 20;
    char text[160] = "";
    if (held)
        store_tell_log(d->store, text, sizeof text);
    pump_service(&d->pump, KIND_LOG_HELD, held, text, d->now);
}

/* What does not fit is held back at the broker: by the time the ring is empty and judged, room was made. */
static void judge_ring(struct daemon *d, const struct publisher_news *news)
{
    char text[120];
    if (news->link.held_back != d->held_back)
        d->held_back_at = d->now.mono;
    d->held_back = news->link.held_back;
    bool full = news->inbox.used_bytes > news->inbox.size_bytes / 10 * 9 ||
                (mono_is_set(d->held_back_at) && d->now.mono.ms - d->held_back_at.ms < HELD_BACK_MS);
    snprintf(text, sizeof text, "%zu of %zu bytes used; no room %llu times since the start",
             news->inbox.used_bytes, news->inbox.size_bytes, (unsigned long long)news->link.held_back);
    pump_service(&d->pump, KIND_INBOX_FULL, full, text, d->now);
}

static void judge_certificate(struct daemon *d, utc_t until)
{
    char text[160] = "", end[UTC_TEXT_MAX];
    int64_t left_ms = until.ms - d->now.utc.ms;
    bool soon = utc_is_set(until) && d->now.trusted && left_ms < CERTIFICATE_SOON_MS;
    if (soon && left_ms > 0)
        snprintf(text, sizeof text,
                 "the first of broker.ca_file and broker.cert_file ends on %.10s, in %lld days",
                 utc_format(until, end, sizeof end), (long long)(left_ms / MS_PER_DAY));
    else if (soon)
        snprintf(text, sizeof text, "the first of broker.ca_file and broker.cert_file ended on %.10s",
                 utc_format(until, end, sizeof end));
    pump_service(&d->pump, KIND_CERTIFICATE, soon, text, d->now);
}

void selfwatch_judge(struct daemon *d, const struct publisher_news *news)
{
    const struct mqtt_state *link = &news->link;
    bool up = link->link == MQTT_UP;
    char text[240];
    bool deaf = is_deaf(d, link);
    snprintf(text, sizeof text, "%s:%d: %s", d->site->broker.host, d->site->broker.port,
             deaf ? "connected, but our own heartbeat does not come back" : link->reason);
    pump_service(&d->pump, KIND_BROKER_DOWN, !up || deaf, text, d->now);
    pump_service(&d->pump, KIND_STORE_FAILING, news->store.failing, news->store.reason, d->now);
    judge_log(d, news);
    judge_certificate(d, link->certificate_until);
    judge_ring(d, news);
    pump_service(&d->pump, KIND_DELIVERY_FAILED, d->courier.failures >= 3, d->courier.reason, d->now);
    if (up)
        log_over(LOG_AT_NOTICE, "link", "broker reached again");
    else if (link->link != MQTT_CONNECTING)
        log_change(LOG_AT_WARNING, "link", "broker not reached: %s", text);
}

void selfwatch_tell_manager(struct daemon *d, const struct publisher_news *news)
{
    int64_t every_ms = sd_alive_interval_ms();
    if (every_ms > 0 && (!mono_is_set(d->alive_at) || d->now.mono.ms - d->alive_at.ms >= every_ms)) {
        sd_tell_alive();
        sd_tell_status("broker %s; %llu readings stored; %s",
                       news->link.link == MQTT_UP ? "connected" : news->link.reason,
                       (unsigned long long)news->store.stored,
                       news->store.failing ? news->store.reason : "store sound");
        d->alive_at = d->now.mono;
    }
}
