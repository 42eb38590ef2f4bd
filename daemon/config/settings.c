#include "config/settings.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

#include "config/planning.h"
#include "model/pattern.h"

#define PORT_PLAIN 1883
#define PORT_TLS   8883
#define ARGV_MAX   32

static const char *const mqtt_versions[] = { "3", "5", NULL };
static const char *const formats[] = { "text", "json", NULL };
static const char *const syncs[] = { "window", "every", NULL };
static const char *const no_password[] = { "a password does not belong in this file; put it into a file that "
                                           "only the service can read and name that "
                                           "in password_file",
                                           NULL };

void settings_defaults(struct site *site)
{
    planning_defaults(&site->plan);
    site->meter_scale = NAN;
    site->broker = (struct broker_settings){
        .host = "localhost", .tls_verify = true, .mqtt_version = 5, .keepalive_s = 30
    };
    site->store = (struct store_settings){ .path = "/var/lib/lentic/lentic.db",
                                           .commit_s = 60,
                                           .commit_rows = 1000,
                                           .sync = STORE_SYNC_WINDOW,
                                           .keep_raw_days = 400,
                                           .thin_bound = 2,
                                           .thin_longest_s = 3600,
                                           .log_most_mib = 64,
                                           .inbox_kib = 1536,
                                           .runtime_dir = "/run/lentic" };
    site->publish = (struct publish_settings){ .tank_every_s = 60,
                                               .tank_least_s = 5,
                                               .heartbeat_s = 60,
                                               .homie = true,
                                               .homie_domain = "homie",
                                               .homie_every_s = 300 };
    for (int q = 0; q < Q_COUNT; q++)
        site->publish.homie_step[q] = NAN;
    site->notify = (struct notify_settings){ .command_timeout_s = 30,
                                             .heartbeat_every_s = 300,
                                             .quiet_from_min = -1,
                                             .quiet_to_min = -1,
                                             .summary_min = -1 };
}

void settings_site(struct loader *ld, const struct config_setting_t *at)
{
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = offsetof(struct site, id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = offsetof(struct site, name) },
        { .name = "timezone", .type = KEY_TEXT, .into = offsetof(struct site, timezone) },
        { .name = "altitude_m",
          .type = KEY_NUMBER,
          .into = offsetof(struct site, altitude_m),
          .lo = -430,
          .hi = 6000,
          .unit = "m" },
        { .name = "meter_scale",
          .type = KEY_NUMBER,
          .into = offsetof(struct site, meter_scale),
          .lo = 0.4,
          .hi = 1.0,
          .unit = "mg/L per µS/cm" },
    };
    struct key_part part = { KEY_ROWS(rows), ld->site, NULL };
    (void)keys_read(ld, at, "site", &part, 1);
}

static void read_version(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                         void *target)
{
    double v;
    (void)key;
    if (!keys_number(ld, at, &v))
        return;
    if (v == 3 || v == 5)
        *(int *)target = (int)v;
    else
        fault_say(ld->faults, at, "mqtt_version is %s (3.1.1) or %s, not %.10g", mqtt_versions[0],
                  mqtt_versions[1], v);
}

static void check_tls(struct loader *ld, const struct config_setting_t *at)
{
    const struct broker_settings *broker = &ld->site->broker;
    if (!broker->tls && (broker->ca_file != NULL || broker->cert_file != NULL || broker->key_file != NULL))
        fault_say(ld->faults, at, "certificates are named, but without tls = true nothing is encrypted");
    if ((broker->cert_file == NULL) != (broker->key_file == NULL))
        fault_say(ld->faults, at, "cert_file and key_file go together; one of them is missing");
    if (broker->tls && !broker->tls_verify)
        fault_warn(ld->faults, at,
                   "tls_verify = false: anyone between here and the broker can read and forge");
    if (broker->password_file != NULL && broker->user == NULL)
        fault_say(ld->faults, at, "password_file without user");
}

void settings_broker(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct broker_settings, field)
    static const struct key rows[] = {
        { .name = "host", .type = KEY_TEXT, .into = INTO(host) },
        { .name = "port", .type = KEY_WHOLE, .into = INTO(port), .lo = 1, .hi = 65535 },
        { .name = "client_id", .type = KEY_TEXT, .into = INTO(client_id) },
        { .name = "user", .type = KEY_TEXT, .into = INTO(user) },
        { .name = "password_file", .type = KEY_TEXT, .into = INTO(password_file) },
        { .name = "password", .type = KEY_REFUSED, .choices = no_password },
        { .name = "tls", .type = KEY_FLAG, .into = INTO(tls) },
        { .name = "ca_file", .type = KEY_TEXT, .into = INTO(ca_file) },
        { .name = "cert_file", .type = KEY_TEXT, .into = INTO(cert_file) },
        { .name = "key_file", .type = KEY_TEXT, .into = INTO(key_file) },
        { .name = "tls_verify", .type = KEY_FLAG, .into = INTO(tls_verify) },
        { .name = "mqtt_version", .type = KEY_APPLY, .into = INTO(mqtt_version), .apply = read_version },
        { .name = "keepalive_s",
          .type = KEY_WHOLE,
          .into = INTO(keepalive_s),
          .lo = 5,
          .hi = 3600,
          .unit = "s" },
    };
#undef INTO
    struct key_part part = { KEY_ROWS(rows), &ld->site->broker, NULL };
    (void)keys_read(ld, at, "broker", &part, 1);
    check_tls(ld, at);
}

void settings_store(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct store_settings, field)
    static const struct key rows[] = {
        { .name = "path", .type = KEY_TEXT, .into = INTO(path) },
        { .name = "commit_s",
          .type = KEY_NUMBER,
          .into = INTO(commit_s),
          .lo = 0.1,
          .hi = 3600,
          .unit = "s" },
        { .name = "commit_rows",
          .type = KEY_WHOLE,
          .into = INTO(commit_rows),
          .lo = 1,
          .hi = 100000,
          .unit = "rows" },
        { .name = "sync", .type = KEY_CHOICE, .into = INTO(sync), .choices = syncs },
        { .name = "keep_raw_days",
          .type = KEY_WHOLE,
          .into = INTO(keep_raw_days),
          .lo = 1,
          .hi = 36500,
          .unit = "days" },
        { .name = "thin_after_days",
          .type = KEY_WHOLE,
          .into = INTO(thin_after_days),
          .lo = 0,
          .hi = 36500,
          .unit = "days" },
        { .name = "thin_bound", .type = KEY_NUMBER, .into = INTO(thin_bound), .lo = 0.1, .hi = 20 },
        { .name = "thin_longest_s",
          .type = KEY_NUMBER,
          .into = INTO(thin_longest_s),
          .lo = 60,
          .hi = 86400,
          .unit = "s" },
        { .name = "log_most_mib",
          .type = KEY_WHOLE,
          .into = INTO(log_most_mib),
          .lo = 8,
          .hi = 65536,
          .unit = "MiB" },
        { .name = "inbox_kib",
          .type = KEY_WHOLE,
          .into = INTO(inbox_kib),
          .lo = 128,
          .hi = 1048576,
          .unit = "KiB" },
        { .name = "runtime_dir", .type = KEY_TEXT, .into = INTO(runtime_dir) },
    };
#undef INTO
    struct key_part part = { KEY_ROWS(rows), &ld->site->store, NULL };
    (void)keys_read(ld, at, "store", &part, 1);
}

/* Everything is published below it: no wildcard, no capture, no empty level. */
static void read_base(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    const char *s;
    enum place_kind capture;
    struct why why = { "" };
    (void)key;
    if (!keys_text(ld, at, &s))
        return;
    if (pattern_check(s, &capture, &why) != STATUS_OK)
        fault_say(ld->faults, at, "base: %s", why.text);
    else if (strpbrk(s, "+#{}$") != NULL || *s == '/' || s[strlen(s) - 1] == '/' || strstr(s, "//") != NULL ||
             strlen(s) > 100)
        fault_say(
            ld->faults, at,
            "base \"%.60s\" must be a plain topic of at most 100 bytes, such as \"lentic/home\": no + # $ "
            "{ }, no / at either end",
            s);
    else
        *(const char **)target = keys_keep(ld, s);
}

void settings_publish(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct publish_settings, field)
    static const struct key rows[] = {
        { .name = "base", .type = KEY_APPLY, .into = INTO(base), .apply = read_base },
        { .name = "tank_every_s",
          .type = KEY_NUMBER,
          .into = INTO(tank_every_s),
          .lo = 1,
          .hi = 86400,
          .unit = "s" },
        { .name = "tank_least_s",
          .type = KEY_NUMBER,
          .into = INTO(tank_least_s),
          .lo = 0,
          .hi = 3600,
          .unit = "s" },
        { .name = "heartbeat_s",
          .type = KEY_NUMBER,
          .into = INTO(heartbeat_s),
          .lo = 5,
          .hi = 3600,
          .unit = "s" },
        { .name = "homie", .type = KEY_FLAG, .into = INTO(homie) },
        { .name = "homie_domain", .type = KEY_ID, .into = INTO(homie_domain) },
        { .name = "homie_every_s",
          .type = KEY_NUMBER,
          .into = INTO(homie_every_s),
          .lo = 1,
          .hi = 86400,
          .unit = "s" },
        { .name = "homie_step", .type = KEY_APPLY, .into = INTO(homie_step), .apply = keys_amounts },
    };
#undef INTO
    struct key_part part = { KEY_ROWS(rows), &ld->site->publish, NULL };
    (void)keys_read(ld, at, "publish", &part, 1);
    if (ld->site->publish.tank_least_s > ld->site->publish.tank_every_s)
        fault_say(ld->faults, at, "tank_least_s (%.10g s) is longer than tank_every_s (%.10g s)",
                  ld->site->publish.tank_least_s, ld->site->publish.tank_every_s);
}

static void read_command(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                         void *target)
{
    if (!keys_is_sequence(ld, at))
        return;
    int n = config_setting_length(at);
    if (n < 1 || n > ARGV_MAX) {
        fault_say(ld->faults, at, "%s takes a program and its arguments, 1 to %d in all", key->name,
                  ARGV_MAX);
        return;
    }
    const char **argv = arena_take(&ld->site->arena, (size_t)n + 1, sizeof *argv);
    for (int i = 0; i < n; i++) {
        const char *word;
        if (!keys_text(ld, config_setting_get_elem(at, (unsigned)i), &word))
            return;
        argv[i] = keys_keep(ld, word);
    }
    if (*argv[0] != '/')
        fault_say(ld->faults, at,
                  "%s must begin with the full path of a program, not \"%.60s\"; no shell is used", key->name,
                  argv[0]);
    *(const char *const **)target = argv;
}

void settings_notify(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct notify_settings, field)
    static const struct key rows[] = {
        { .name = "command", .type = KEY_APPLY, .into = INTO(command), .apply = read_command },
        { .name = "command_timeout_s",
          .type = KEY_WHOLE,
          .into = INTO(command_timeout_s),
          .lo = 1,
          .hi = 600,
          .unit = "s" },
        { .name = "heartbeat", .type = KEY_APPLY, .into = INTO(heartbeat), .apply = read_command },
        { .name = "heartbeat_every_s",
          .type = KEY_WHOLE,
          .into = INTO(heartbeat_every_s),
          .lo = 10,
          .hi = 86400,
          .unit = "s" },
        { .name = "format", .type = KEY_CHOICE, .into = INTO(format), .choices = formats },
        { .name = "quiet_from", .type = KEY_CLOCK, .into = INTO(quiet_from_min) },
        { .name = "quiet_to", .type = KEY_CLOCK, .into = INTO(quiet_to_min) },
        { .name = "summary", .type = KEY_CLOCK, .into = INTO(summary_min) },
    };
#undef INTO
    struct notify_settings *notify = &ld->site->notify;
    struct key_part part = { KEY_ROWS(rows), notify, NULL };
    if (!keys_read(ld, at, "notify", &part, 1))
        return;
    if ((notify->quiet_from_min < 0) != (notify->quiet_to_min < 0))
        fault_say(ld->faults, at, "quiet_from and quiet_to go together; one of them is missing");
    else if (notify->quiet_from_min >= 0 && notify->quiet_from_min == notify->quiet_to_min)
        fault_say(ld->faults, at, "quiet_from and quiet_to are the same time of day");
}

/* "ack = false": that one is not taken from the broker. */
static void read_command_switch(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                                void *target)
{
    (void)key;
    if (config_setting_type(at) == CONFIG_TYPE_BOOL)
        *(bool *)target = config_setting_get_bool(at) == 0;
    else
        fault_say(ld->faults, at, "%s must be true or false, without quotes", config_setting_name(at));
}

void settings_commands(struct loader *ld, const struct config_setting_t *at)
{
    struct key rows[COMMAND_COUNT];
    for (int v = 0; v < COMMAND_COUNT; v++)
        rows[v] = (struct key){ .name = command_name((enum command_verb)v),
                                .type = KEY_APPLY,
                                .into = (size_t)v * sizeof(bool),
                                .apply = read_command_switch };
    struct key_part part = { KEY_ROWS(rows), ld->site->command_off, NULL };
    (void)keys_read(ld, at, "commands", &part, 1);
}

static const char *joined(struct loader *ld, const char *front, const char *id)
{
    char buf[2 * ID_MAX];
    (void)snprintf(buf, sizeof buf, "%s%s", front, id == NULL ? "" : id);
    return keys_keep(ld, buf);
}

void settings_complete(struct loader *ld)
{
    struct site *site = ld->site;
    if (site->name == NULL)
        site->name = site->id;
    if (site->publish.base == NULL)
        site->publish.base = joined(ld, "lentic/", site->id);
    if (site->broker.client_id == NULL)
        site->broker.client_id = joined(ld, "lentic-", site->id);
    if (site->broker.port == 0)
        site->broker.port = site->broker.tls ? PORT_TLS : PORT_PLAIN;
}
