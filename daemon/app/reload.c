/* Another configuration while running. The old one stays when the new one is at fault. */
#include "app/daemon.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/clock.h"
#include "adapters/log.h"
#include "adapters/sd.h"
#include "config/load.h"

void faults_print(const struct config_faults *faults)
{
    for (int i = 0; i < faults->count; i++) {
        const struct config_fault *f = &faults->items[i];
        log_say(f->warning ? LOG_AT_WARNING : LOG_AT_ERROR, "%s:%d: %s", f->file, f->line, f->text);
    }
}

static bool known(const char **filters, int count, const char *filter)
{
    for (int i = 0; i < count; i++)
        if (strcmp(filters[i], filter) == 0)
            return true;
    return false;
}

int daemon_filters(const struct site *site, const char **filters, int *qos, int cap, char *buf, size_t n)
{
    int count = 0;
    size_t half = n / 2;
    snprintf(buf, half, "%s/do/+", site->publish.base);
    snprintf(buf + half, n - half, "%s/heartbeat", site->publish.base);
    filters[count] = buf;
    qos[count++] = 1 | MQTT_RETAIN_AS_PUBLISHED;
    if (site->publish.heartbeat_s > 0) {
        filters[count] = buf + half;
        qos[count++] = 0;
    }
    for (int i = 0; i < site->entry_count && count < cap; i++) {
        if (known(filters, count, site->entries[i].filter))
            continue;
        filters[count] = site->entries[i].filter;
        qos[count++] = site->entries[i].qos;
    }
    return count;
}

enum status daemon_subscribe(struct daemon *d)
{
    const char *filters[DAEMON_FILTERS_MAX];
    int qos[DAEMON_FILTERS_MAX];
    char buf[600];
    int count = daemon_filters(d->site, filters, qos, DAEMON_FILTERS_MAX, buf, sizeof buf);
    return mqtt_resubscribe(d->mqtt, filters, qos, count);
}

/* What only a restart can change. */
static void tell_unchangeable(const struct site *old, const struct site *new_site)
{
    if (strcmp(old->store.path, new_site->store.path) != 0 ||
        strcmp(old->broker.host, new_site->broker.host) != 0 || old->broker.port != new_site->broker.port ||
        old->store.inbox_kib != new_site->store.inbox_kib ||
        strcmp(old->store.runtime_dir, new_site->store.runtime_dir) != 0)
        log_say(LOG_AT_WARNING,
                "broker address, store path, runtime_dir and inbox_kib take effect at the next start only");
}

static void adopt(struct daemon *d, struct site *site)
{
    struct site *old = d->site;
    struct why why = { "" };
    char *list = publisher_list(&d->publisher);
    if (store_bind(d->store, site, &why) != STATUS_OK)
        log_say(LOG_AT_WARNING, "%s", why.text);
    tell_unchangeable(old, site);
    pump_reload(&d->pump, site, d->now);
    d->site = site;
    clock_set_timezone(site->timezone);
    daemon_load_calibrations(d);
    publisher_fini(&d->publisher);
    publisher_init(&d->publisher, site, daemon_send, d, list, d->now);
    courier_fini(&d->courier);
    courier_init(&d->courier, site, d->store, d->now);
    daemon_watch_courier(d);
    pulse_fini(&d->pulse);
    pulse_init(&d->pulse, site, d->now);
    if (daemon_subscribe(d) != STATUS_OK)
        log_say(LOG_AT_NOTICE, "subscriptions will be renewed when the broker is reached");
    publisher_connected(&d->publisher, &d->pump, d->now);
    announcer_fini(&d->announcer);
    announcer_init(&d->announcer, site, d->store, daemon_send, d);
    announcer_connected(&d->announcer);
    homie_link_reload(&d->homie, old, site, d->pump.engine, d->now);
    uint64_t committed = 0;
    if (store_commit(d->store, d->seq, d->now, true, &committed) == STATUS_OK && committed == d->seq)
        snapshot_save(d, SNAPSHOT_NEAR);
    site_free(old);
}

void daemon_reload(struct daemon *d)
{
    struct config_faults *faults = calloc(1, sizeof *faults);
    struct site *site = NULL;
    if (faults == NULL)
        return;
    sd_tell_reloading();
    log_say(LOG_AT_NOTICE, "reading %s again", d->conf_path);
    enum status st = announcer_load(d->conf_path, &site, faults);
    faults_print(faults);
    if (st == STATUS_OK) {
        adopt(d, site);
        log_say(LOG_AT_NOTICE, "the new configuration is in force: %d tanks, %d probes", site->tank_count,
                site->stream_count);
    } else {
        log_say(LOG_AT_ERROR, "%s has %d faults: the old configuration stays in force", d->conf_path,
                faults->errors);
    }
    free(faults);
    sd_tell_ready();
}
