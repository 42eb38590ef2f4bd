#include "engine/exchange.h"

#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "engine/state.h"

#define BACK_MOST_MS (31 * MS_PER_DAY) /* as far as stored readings are reckoned anew */

static void tell_device(struct engine *e, int stream, struct now now, struct effects *fx)
{
    const struct fitting *f = &e->streams[stream].fitting;
    struct effect *fact = effect_add(fx, EFFECT_DEVICE, now);
    fact->u.device.stream = stream;
    fact->u.device.since = f->device_since;
    snprintf(fact->u.device.id, sizeof fact->u.device.id, "%s", f->device);
}

/* The other device starts with what is configured, and with nothing of what was learnt of the old one. */
static void put_in(struct engine *e, int stream, const char *device, utc_t since, struct now now,
                   struct effects *fx)
{
    struct stream_state *s = &e->streams[stream];
    const struct stream *site = &e->site->streams[stream];
    struct calib calib = site_stream_value(e->site, stream)->calib;
    fitting_assign(&s->fitting, device, since);
    calib.since = since;
    engine_calibrate(e, stream, &calib);
    health_renew(s);
    tell_device(e, stream, now, fx);
    struct effect *fact = effect_add(fx, EFFECT_CALIB, now);
    fact->u.calib.stream = stream;
    fact->u.calib.undone = false;
    fact->u.calib.calib = calib;
    fact->u.calib.back_to = since.ms < now.utc.ms ? since : UTC_NONE;
    calibrate_due(e, stream, now, fx);
    tank_changed(fx, now, e->site->places[site->place].tank);
}

static void announce(struct engine *e, int stream, const char *before, bool seen, struct now now,
                     struct effects *fx)
{
    const struct stream *site = &e->site->streams[stream];
    const struct fitting *f = &e->streams[stream].fitting;
    char when[UTC_TEXT_MAX];
    event_add(
        fx, now, EVENT_EXCHANGED, site->place, site->quantity, NAN,
        "%s: device %s%s%s since %.16sZ%s; its history goes on, the old calibration does not count for it",
        site->name, f->device, before[0] != '\0' ? " instead of " : "", before,
        utc_format(f->device_since, when, sizeof when), seen ? ", seen in the payload" : "");
}

static const char *said_device(const struct engine *e, const struct sample *s)
{
    const char *configured = site_stream_entry(e->site, s->stream)->device;
    return s->device[0] != '\0' ? s->device : configured != NULL ? configured : "";
}

void exchange_hear(struct engine *e, const struct sample *s, utc_t t, struct now now, struct effects *fx)
{
    struct fitting *f = &e->streams[s->stream].fitting;
    const char *said = said_device(e, s);
    char before[DEVICE_MAX];
    utc_t since;
    if (said[0] == '\0')
        return;
    if (f->device[0] == '\0') { /* the first that is known: nothing was exchanged */
        fitting_assign(f, said, t);
        tell_device(e, s->stream, now, fx);
        return;
    }
    if (!fitting_hear(f, said, t, &since))
        return;
    memcpy(before, f->device, sizeof before);
    put_in(e, s->stream, said, since, now, fx);
    announce(e, s->stream, before, true, now, fx);
}

enum status exchange(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                     struct why *why)
{
    int stream;
    enum status st = calibrate_find(e, c, &stream, why);
    if (st != STATUS_OK)
        return st;
    struct fitting *f = &e->streams[stream].fitting;
    const struct stream *site = &e->site->streams[stream];
    utc_t since = utc_is_set(c->at) ? c->at : now.utc;
    char before[DEVICE_MAX], when[UTC_TEXT_MAX], what[2 * DEVICE_MAX + 32];
    struct text said = text_over(what, sizeof what);
    if (since.ms > now.utc.ms + 2 * MS_PER_MIN)
        return why_say(why, STATUS_REFUSED,
                       "a probe cannot have been exchanged in the future: look at \"at\"");
    if (since.ms < now.utc.ms - BACK_MOST_MS)
        return why_say(
            why, STATUS_REFUSED,
            "an exchange can be told up to 31 days back, for so far stored readings are reckoned anew");
    if (utc_is_set(f->device_since) && since.ms <= f->device_since.ms)
        return why_say(why, STATUS_REFUSED, "%s stands there since %.16sZ; the next one must come after it",
                       f->device, utc_format(f->device_since, when, sizeof when));
    if (strcmp(c->device, f->device) == 0)
        return why_say(why, STATUS_REFUSED, "%s is there already; for a calibration: calibrate", f->device);
    memcpy(before, f->device, sizeof before);
    put_in(e, stream, c->device, since, now, fx);
    announce(e, stream, before, false, now, fx);
    text_printf(&said, "device %s%s%s", f->device, before[0] != '\0' ? " instead of " : "", before);
    told_write(e, JOURNAL_EXCHANGE, site, c, what, now, fx);
    return why_say(why, STATUS_OK, "%s: device %s counts since %.16sZ%s%s%s", site->name, f->device,
                   utc_format(since, when, sizeof when), before[0] != '\0' ? " instead of " : "", before,
                   site->quantity == Q_PH || site->quantity == Q_EC ? "; calibrate it" : "");
}

void engine_device(struct engine *e, int stream, const char *device, utc_t since)
{
    struct fitting *f = &e->streams[stream].fitting;
    if (!utc_is_set(f->device_since) || since.ms >= f->device_since.ms)
        fitting_assign(f, device, since);
}
