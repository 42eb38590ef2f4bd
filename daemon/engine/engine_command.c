/* What people ask for. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

typedef enum status alarm_action(struct alarms *a, int slot, const struct command *c, struct now now,
                                 struct effects *fx, struct why *why);

static alarm_action *action_of(enum command_verb verb)
{
    switch (verb) {
    case COMMAND_ACK:
        return alarm_ack;
    case COMMAND_RESET:
        return alarm_reset;
    case COMMAND_SHELVE:
        return alarm_shelve;
    case COMMAND_UNSHELVE:
        return alarm_unshelve;
    case COMMAND_OUT:
        return alarm_out;
    case COMMAND_BACK:
        return alarm_back;
    default:
        return NULL;
    }
}

/* For a whole place: only alerts to which the verb can apply are asked, so that one that is NORM does not
 * refuse the rest. */
static bool fits(const struct engine *e, int slot, enum command_verb verb)
{
    const struct alarm *alarm = &e->alarms.items[slot];
    if (!e->site->alerts[slot].settings.enabled)
        return false;
    switch (verb) {
    case COMMAND_ACK:
        return alarm->pub.marks == 0 && (alarm->pub.base == ALERT_UNACK || alarm->pub.base == ALERT_RTNUN ||
                                         alarm->pub.base == ALERT_LATUN);
    case COMMAND_RESET:
        return alarm->pub.marks == 0 && alarm->pub.base == ALERT_LATAK;
    case COMMAND_UNSHELVE:
        return (alarm->pub.marks & ALERT_SHELVED) != 0;
    case COMMAND_BACK:
        return (alarm->pub.marks & ALERT_OUT_OF_SERVICE) != 0;
    default:
        return true;
    }
}

static enum status on_alerts(struct engine *e, const struct command *c, alarm_action *act, struct now now,
                             struct effects *fx, struct why *why)
{
    if (c->alert >= 0)
        return act(&e->alarms, c->alert, c, now, fx, why);
    if (c->place < 0)
        return why_say(why, STATUS_INVALID, "%s needs \"id\" (tank/a1/temp-low), or \"place\" and \"kind\"",
                       command_name(c->verb));
    int done = 0;
    for (int i = e->site->first_alert[c->place]; i < e->site->first_alert[c->place + 1]; i++) {
        if (!fits(e, i, c->verb))
            continue;
        enum status st = act(&e->alarms, i, c, now, fx, why);
        if (st != STATUS_OK)
            return st;
        done++;
    }
    if (done == 0)
        return why_say(why, STATUS_REFUSED, "%s: no alert there to %s", e->site->places[c->place].text,
                       command_name(c->verb));
    return STATUS_OK;
}

static enum status service(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                           struct why *why)
{
    int tank = c->place < 0 ? -1 : e->site->places[c->place].tank;
    if (tank < 0)
        return why_say(why, STATUS_INVALID, "service needs a tank, like \"place\": \"tank/a1\"");
    if (c->minutes < 0 || c->minutes > 24 * 60)
        return why_say(why, STATUS_INVALID, "service: \"minutes\" must be 0 (end it) to 1440 (24 h)");
    if (c->minutes > 0 || isnan(c->minutes))
        service_begin(e, tank, c, now, fx);
    else if (e->tanks[tank].in_service)
        service_end(e, tank, now, fx);
    else
        return why_say(why, STATUS_REFUSED, "%s: no service window is open", e->site->places[c->place].text);
    return STATUS_OK;
}

static enum status try_delivery(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                                struct why *why)
{
    event_add(fx, now, EVENT_TEST, e->site->service_place, Q_COUNT, NAN, "test message, asked for by %s%s%s",
              c->who[0] != '\0' ? c->who : "somebody", c->why[0] != '\0' ? ": " : "", c->why);
    return why_say(
        why, STATUS_OK, "%s",
        e->site->notify.command != NULL
            ? "the test message is on its way through MQTT and the notify command"
            : "the test message is out through MQTT; no notify command is configured, so there is no "
              "second path");
}

enum status engine_command(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                           struct why *why)
{
    alarm_action *act = action_of(c->verb);
    fx->count = 0;
    if (act != NULL) {
        enum status st = on_alerts(e, c, act, now, fx, why);
        if (c->place >= 0)
            tank_changed(fx, now, e->site->places[c->place].tank);
        return st;
    }
    switch (c->verb) {
    case COMMAND_SERVICE:
        return service(e, c, now, fx, why);
    case COMMAND_NOTE:
        return told_take(e, c, now, fx, why);
    case COMMAND_CALIBRATE:
        return calibrate(e, c, now, fx, why);
    case COMMAND_EXCHANGE:
        return exchange(e, c, now, fx, why);
    case COMMAND_TEST:
        return try_delivery(e, c, now, fx, why);
    default:
        return why_say(why, STATUS_REFUSED, "%s is not understood here", command_name(c->verb));
    }
}
