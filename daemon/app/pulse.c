#include "app/pulse.h"

#include <stdio.h>
#include <string.h>

#include "adapters/log.h"
#include "adapters/notify.h"

#define LOOK_AGAIN_MS (5 * MS_PER_S) /* while there is no progress */

void pulse_init(struct pulse *p, const struct site *site, struct now now)
{
    struct why why = { "" };
    memset(p, 0, sizeof *p);
    p->site = site;
    p->due = now.mono;
    if (site->notify.heartbeat == NULL)
        return;
    if (notify_open(&p->notify, &why) != STATUS_OK) {
        log_say(LOG_AT_ERROR, "the heartbeat command cannot be run: %s", why.text);
        p->notify = NULL;
    }
}

void pulse_fini(struct pulse *p)
{
    if (p->notify != NULL)
        notify_close(p->notify);
    p->notify = NULL;
}

static void take_result(struct pulse *p)
{
    struct notify_result result;
    if (!notify_take_result(p->notify, &result))
        return;
    p->beating = false;
    p->failures = result.delivered ? 0 : p->failures + 1;
    if (result.delivered)
        log_over(LOG_AT_NOTICE, "pulse", "the heartbeat command works again");
    else
        log_change(LOG_AT_WARNING, "pulse", "the heartbeat command failed: %s", result.text);
}

static void beat(struct pulse *p, struct now now)
{
    char line[128], site[64], when[UTC_TEXT_MAX];
    const char *variables[] = { site };
    struct why why = { "" };
    int n = snprintf(line, sizeof line, "{\"t\":\"%s\",\"site\":\"%s\",\"beat\":%llu}\n",
                     utc_format(now.utc, when, sizeof when), p->site->id, (unsigned long long)++p->beats);
    snprintf(site, sizeof site, "LENTIC_SITE=%s", p->site->id);
    struct notify_job job = { .id = 1,
                              .command = p->site->notify.heartbeat,
                              .timeout_s = p->site->notify.command_timeout_s,
                              .input = line,
                              .input_len = (size_t)n,
                              .variables = variables,
                              .variable_count = 1 };
    p->due = mono_add(now.mono, p->site->notify.heartbeat_every_s * MS_PER_S);
    p->beating = notify_start(p->notify, &job, now.mono, &why) == STATUS_OK;
    if (p->beating)
        return;
    p->failures++;
    log_change(LOG_AT_WARNING, "pulse", "the heartbeat command failed: %s", why.text);
}

void pulse_advance(struct pulse *p, bool progress, struct now now)
{
    if (p->notify == NULL)
        return;
    notify_advance(p->notify, now.mono);
    take_result(p);
    if (p->beating || p->due.ms > now.mono.ms)
        return;
    if (progress)
        beat(p, now);
    else
        p->due = mono_add(now.mono, LOOK_AGAIN_MS);
}

mono_t pulse_deadline(const struct pulse *p)
{
    if (p->notify == NULL)
        return MONO_NEVER;
    return p->beating ? notify_deadline(p->notify) : p->due;
}
