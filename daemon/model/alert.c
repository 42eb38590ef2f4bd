#include "model/alert.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define OWN_DEADBAND NAN

/* All that is said of a kind of alert, and how it is judged when nothing is configured. */
static const struct kind_info kinds[KIND_COUNT] = {
    [KIND_LOW] = { .name = "low",
                   .scope = SCOPE_TANK_LIMIT,
                   .title = "below the band",
                   .meaning = "The value is under the band in which these animals live and breed.",
                   .consequence = "Outside their band the animals stop breeding, then die.",
                   .action = "Find out why it fell before you correct it, and correct it slowly.",
                   .time = "Hours for temperature and oxygen, days for the rest; the sooner, the smaller the "
                           "correction.",
                   .priority = PRIORITY_HIGH,
                   .symptom = true,
                   .deadband = OWN_DEADBAND,
                   .on_delay_s = 120,
                   .off_delay_s = 300 },
    [KIND_HIGH] = { .name = "high",
                    .scope = SCOPE_TANK_LIMIT,
                    .title = "above the band",
                    .meaning = "The value is over the band in which these animals live and breed.",
                    .consequence =
                        "Warm or concentrated water holds less oxygen and stresses moulting animals.",
                    .action = "Find out why it rose before you correct it, and correct it slowly.",
                    .time =
                        "Hours for temperature, days for the rest; the sooner, the smaller the correction.",
                    .priority = PRIORITY_HIGH,
                    .symptom = true,
                    .deadband = OWN_DEADBAND,
                    .on_delay_s = 120,
                    .off_delay_s = 300 },
    [KIND_SWING] = { .name = "swing",
                     .scope = SCOPE_TANK_LIMIT,
                     .title = "swings too far within a day",
                     .meaning = "Between the lowest and the highest value of the rolling day lies more than "
                                "these animals bear; work in service windows is left out.",
                     .consequence = "Daily swings cost failed moults and lost clutches.",
                     .action = "Look at lid, room, heater size and lamp; even the temperature out.",
                     .time = "Days: it is the repetition that harms.",
                     .priority = PRIORITY_LOW,
                     .symptom = true,
                     .deadband = OWN_DEADBAND,
                     .on_delay_s = 900,
                     .off_delay_s = 3600 },
    [KIND_FAST] = { .name = "fast",
                    .scope = SCOPE_TANK_LIMIT,
                    .title = "changes faster than the animals bear",
                    .meaning = "Within an hour it changed more than these animals bear; work in service "
                               "windows is left out.",
                    .consequence = "A fast change sets off bad moults.",
                    .action = "Stop what is changing the water; let it settle.",
                    .time = "An hour or two.",
                    .priority = PRIORITY_MEDIUM,
                    .symptom = true,
                    .deadband = OWN_DEADBAND,
                    .on_delay_s = 600,
                    .off_delay_s = 3600 },
    [KIND_DRIFT] = { .name = "drift",
                     .scope = SCOPE_TANK_LIMIT,
                     .title = "has drifted away from the water's target",
                     .meaning = "The tank has moved away from the water it is meant to have and stays there.",
                     .consequence = "The colony sits in other water than it was meant to; the next change "
                                    "becomes a shock.",
                     .action = "Bring it back in steps with matched water or pure top-off.",
                     .time = "Days to weeks: bring it back before the next large change.",
                     .priority = PRIORITY_LOW,
                     .symptom = true,
                     .deadband = OWN_DEADBAND,
                     .on_delay_s = 6 * 3600,
                     .off_delay_s = 6 * 3600 },
    [KIND_HEATER_DEAD] = { .name = "heater-dead",
                           .scope = SCOPE_TANK,
                           .title = "heater not heating",
                           .meaning = "The tank cools as it would without any heat, under the band its "
                                      "thermostat holds.",
                           .consequence = "The tank cools to room temperature.",
                           .action = "Check plug, switch and circuit; have a spare heater ready. Unplug "
                                     "before reaching into the water.",
                           .time = "Hours: a small tank in a cool room leaves its band in two to six.",
                           .priority = PRIORITY_HIGH,
                           .family = FAMILY_HEAT,
                           .deadband = OWN_DEADBAND,
                           .off_delay_s = 1200 },
    [KIND_HEATER_STUCK] = { .name = "heater-stuck",
                            .scope = SCOPE_TANK,
                            .title = "heater stuck on",
                            .meaning = "The tank climbs past the band its thermostat holds, and the heater "
                                       "still gives heat. So does one whose dial was turned up, until it has "
                                       "switched off and on again: then it is learnt afresh.",
                            .consequence = "The tank heats until the animals die.",
                            .action = "Unplug the heater now, open the lid, replace the thermostat.",
                            .time = "An hour or two.",
                            .priority = PRIORITY_HIGH,
                            .family = FAMILY_HEAT,
                            .deadband = OWN_DEADBAND,
                            .off_delay_s = 1200 },
    [KIND_HEATER_WEAK] = { .name = "heater-weak",
                           .scope = SCOPE_TANK,
                           .title = "heater weak or too small",
                           .meaning = "The heater is on all the time, and the tank sinks all the same or is "
                                      "only just held.",
                           .consequence = "On the next cold night the tank leaves its band.",
                           .action = "Cover the tank, warm the room, plan a stronger or new heater.",
                           .time = "Until the next cold night.",
                           .priority = PRIORITY_MEDIUM,
                           .family = FAMILY_HEAT,
                           .deadband = OWN_DEADBAND,
                           .off_delay_s = 3600 },
    [KIND_TOPOFF_STOPPED] = { .name = "topoff-stopped",
                              .scope = SCOPE_TANK,
                              .title = "top-off stopped",
                              .meaning = "Water evaporates and is not replaced: the level falls and what is "
                                         "dissolved concentrates.",
                              .consequence = "The water concentrates as it evaporates.",
                              .action =
                                  "Refill the reservoir or free the float; top off slowly with pure water.",
                              .time = "Days.",
                              .priority = PRIORITY_LOW,
                              .family = FAMILY_SOLIDS,
                              .deadband = OWN_DEADBAND,
                              .off_delay_s = 24 * 3600 },
    [KIND_TOPOFF_MINERALS] = { .name = "topoff-minerals",
                               .scope = SCOPE_TANK,
                               .title = "minerals in the top-off water",
                               .meaning = "The level is held, yet dissolved solids climb as fast as water "
                                          "evaporates.",
                               .consequence = "Dissolved solids climb with every top-off.",
                               .action = "Measure the top-off water; it should be pure.",
                               .time = "Days to weeks.",
                               .priority = PRIORITY_LOW,
                               .family = FAMILY_SOLIDS,
                               .deadband = OWN_DEADBAND,
                               .off_delay_s = 24 * 3600 },
    [KIND_TOPOFF_OVER] = { .name = "topoff-over",
                           .scope = SCOPE_TANK,
                           .title = "top-off running over",
                           .meaning = "The level rises and what is dissolved is diluted: more water comes "
                                      "than evaporates.",
                           .consequence = "The water is diluted and the tank may overflow.",
                           .action =
                               "Close the top-off, check the float; correct the minerals in small steps.",
                           .time = "Hours.",
                           .priority = PRIORITY_HIGH,
                           .family = FAMILY_SOLIDS,
                           .deadband = OWN_DEADBAND,
                           .off_delay_s = 6 * 3600 },
    [KIND_LEAK] = { .name = "leak",
                    .scope = SCOPE_TANK,
                    .title = "leak",
                    .meaning = "The level falls faster than water evaporates and the water itself is "
                               "unchanged; or a detector is wet.",
                    .consequence = "The tank runs dry; water reaches the floor and sockets.",
                    .action = "Switch off mains devices from a dry place, then look for the leak.",
                    .time = "None: act now.",
                    .priority = PRIORITY_HIGH,
                    .family = FAMILY_SOLIDS,
                    .deadband = OWN_DEADBAND,
                    .off_delay_s = 3600 },
    [KIND_WASTE] = { .name = "waste",
                     .scope = SCOPE_TANK,
                     .title = "waste building up",
                     .meaning = "Dissolved solids climb though level and minerals do not explain it: food, "
                                "droppings or dead animals.",
                     .consequence = "Nitrogen and dissolved solids rise until animals die.",
                     .action = "Feed less, look for dead animals, test ammonia and nitrite, change water in "
                               "small steps.",
                     .time = "A day or two: test today.",
                     .priority = PRIORITY_LOW,
                     .family = FAMILY_SOLIDS,
                     .deadband = OWN_DEADBAND,
                     .off_delay_s = 24 * 3600 },
    [KIND_EC_FALL] = { .name = "ec-fall",
                       .scope = SCOPE_TANK,
                       .title = "dissolved solids fell without an announced change",
                       .meaning = "Water with fewer minerals came in and nobody said so.",
                       .consequence = "A sudden dilution sets off bad moults.",
                       .action = "Was water added? Note it; if not, check top-off and probe.",
                       .time = "Hours: look before it goes on.",
                       .priority = PRIORITY_LOW,
                       .family = FAMILY_SOLIDS,
                       .symptom = true,
                       .deadband = OWN_DEADBAND,
                       .on_delay_s = 2 * 3600,
                       .off_delay_s = 6 * 3600 },
    [KIND_BATCH] = { .name = "bad-batch",
                     .scope = SCOPE_WATER,
                     .title = "bad batch",
                     .meaning =
                         "Several tanks that are fed with one water stepped the same way within a day.",
                     .consequence = "All tanks that got this water stepped away from their target together.",
                     .action = "Stop using the batch, measure it, correct it before the next change.",
                     .time = "Before the next tank gets it.",
                     .priority = PRIORITY_MEDIUM,
                     .family = FAMILY_SOLIDS,
                     .deadband = OWN_DEADBAND,
                     .off_delay_s = 24 * 3600 },
    [KIND_SOURCE_WORN] = { .name = "worn",
                           .scope = SCOPE_SOURCE,
                           .title = "source unit exhausted",
                           .meaning =
                               "The purified water holds more than it did at its best in the last weeks.",
                           .consequence = "Purified water carries tap minerals, and chlorine may pass.",
                           .action = "Change the resin, carbon or membrane; measure before and after.",
                           .time = "Before the next batch is mixed.",
                           .priority = PRIORITY_MEDIUM,
                           .deadband = OWN_DEADBAND,
                           .off_delay_s = 6 * 3600 },
    [KIND_POWER_LOST] = { .name = "power-lost",
                          .scope = SCOPE_CIRCUIT,
                          .title = "circuit lost power",
                          .meaning = "The heaters of one circuit or rack stopped together.",
                          .consequence = "All tanks on it cool together.",
                          .action = "Look at breaker and residual-current device. Do not reset twice: call "
                                    "an electrician.",
                          .time = "Hours: the smallest tank leaves its band first.",
                          .priority = PRIORITY_HIGH,
                          .family = FAMILY_HEAT,
                          .deadband = OWN_DEADBAND,
                          .on_delay_s = 180,
                          .off_delay_s = 900 },
    [KIND_ROOM_COLD] = { .name = "cold",
                         .scope = SCOPE_ROOM,
                         .title = "room cold",
                         .meaning = "The room is colder than it usually is at this time of day.",
                         .consequence = "Every tank follows the room.",
                         .action = "Warm the room, close windows, cover the tanks.",
                         .time = "Hours.",
                         .priority = PRIORITY_HIGH,
                         .family = FAMILY_HEAT,
                         .deadband = OWN_DEADBAND,
                         .off_delay_s = 1800 },
    [KIND_ROOM_HOT] = { .name = "hot",
                        .scope = SCOPE_ROOM,
                        .title = "room hot",
                        .meaning = "The room is warmer than it usually is at this time of day.",
                        .consequence = "Every tank follows the room.",
                        .action = "Shade and air the room, lamps off, lids open, add air stones.",
                        .time = "Hours.",
                        .priority = PRIORITY_HIGH,
                        .family = FAMILY_HEAT,
                        .deadband = OWN_DEADBAND,
                        .off_delay_s = 1800 },
    [KIND_OUT_OF_WATER] = { .name = "out-of-water",
                            .scope = SCOPE_TANK,
                            .title = "probe out of the water",
                            .meaning =
                                "The probe shows air: no conductivity, or the temperature of the room.",
                            .consequence = "The tank is not watched.",
                            .action = "Put the probe back, check the water level.",
                            .time = "Until it is back nobody sees what the tank does.",
                            .priority = PRIORITY_MEDIUM,
                            .deadband = OWN_DEADBAND,
                            .off_delay_s = 600 },
    [KIND_SILENT] = { .name = "silent",
                      .scope = SCOPE_STREAM,
                      .title = "probe silent",
                      .meaning = "No usable value has come for longer than the probe ever takes.",
                      .consequence = "The tank is not watched.",
                      .action = "Check the probe's power and network; measure by hand until it is back.",
                      .time = "Until it is back nobody sees what the tank does.",
                      .priority = PRIORITY_MEDIUM,
                      .family = FAMILY_PROBE,
                      .deadband = OWN_DEADBAND,
                      .on_delay_s = 1500 /* radios drop out; none when stale_s is set */ },
    [KIND_STUCK] = { .name = "stuck",
                     .scope = SCOPE_STREAM,
                     .title = "probe stuck",
                     .meaning = "The value has not moved for far longer than it ever stood still.",
                     .consequence = "The shown value is old; the true one is not known.",
                     .action = "Restart or replace the probe; measure by hand.",
                     .time = "Measure by hand today.",
                     .priority = PRIORITY_LOW,
                     .deadband = OWN_DEADBAND },
    [KIND_NOISY] = { .name = "noisy",
                     .scope = SCOPE_STREAM,
                     .title = "probe noisy",
                     .meaning = "Many of the last values jump about as no water does.",
                     .consequence = "Small changes cannot be seen.",
                     .action = "Check cable, grounding and calibration; clean the probe.",
                     .time = "Days.",
                     .priority = PRIORITY_LOW,
                     .deadband = OWN_DEADBAND,
                     .on_delay_s = 1200,
                     .off_delay_s = 3600 },
    [KIND_DRIFTING] = { .name = "drifting",
                        .scope = SCOPE_STREAM,
                        .title = "probe drifting",
                        .meaning =
                            "The probe creeps away from a hand test, from its twin, or from what water does.",
                        .consequence = "Decisions rest on a wrong number.",
                        .action = "Test by hand, clean, calibrate.",
                        .time = "Days: before you next correct by this number.",
                        .priority = PRIORITY_LOW,
                        .deadband = OWN_DEADBAND,
                        .off_delay_s = 6 * 3600 },
    [KIND_REFUSED] = { .name = "refused",
                       .scope = SCOPE_STREAM,
                       .title = "payloads refused",
                       .meaning = "The probe sends, but what it sends cannot be read or is in another unit.",
                       .consequence = "The probe talks but cannot be understood: the tank is not watched.",
                       .action = "Compare unit and form of the payload with the configuration.",
                       .time = "Until it is understood nobody sees what the tank does.",
                       .priority = PRIORITY_MEDIUM,
                       .deadband = OWN_DEADBAND },
    [KIND_CALIBRATION_DUE] = { .name = "calibration-due",
                               .scope = SCOPE_STREAM,
                               .title = "calibration due",
                               .meaning =
                                   "The last calibration is older than the probe should go without one.",
                               .consequence = "The reading wanders off unseen.",
                               .action = "Calibrate the probe.",
                               .time = "Days.",
                               .priority = PRIORITY_LOW,
                               .deadband = OWN_DEADBAND },
    [KIND_BATTERY] = { .name = "battery",
                       .scope = SCOPE_STREAM,
                       .title = "battery low",
                       .meaning = "The device reports that its battery is nearly empty.",
                       .consequence = "The probe will fall silent.",
                       .action = "Have a new battery ready; change it within the week.",
                       .time = "Days to weeks, less in the cold.",
                       .priority = PRIORITY_LOW,
                       .deadband = OWN_DEADBAND },
    [KIND_AMMONIA] = { .name = "ammonia",
                       .scope = SCOPE_TANK,
                       .title = "un-ionised ammonia",
                       .meaning =
                           "From the hand test, pH and temperature: more free ammonia than gills bear.",
                       .consequence = "It burns gills within hours.",
                       .action = "Change water in small steps, stop feeding, test again.",
                       .time = "Hours.",
                       .priority = PRIORITY_HIGH,
                       .deadband = 0.005 },
    [KIND_OXYGEN] = { .name = "oxygen",
                      .scope = SCOPE_TANK,
                      .title = "warm water holds little oxygen",
                      .meaning = "At this temperature even saturated water holds little oxygen.",
                      .consequence = "The animals suffocate at night.",
                      .action = "Add air, cool the water slowly.",
                      .time = "Until the coming night.",
                      .priority = PRIORITY_MEDIUM,
                      .deadband = 0.15,
                      .on_delay_s = 1800,
                      .off_delay_s = 3600 },
    [KIND_BROKER_DOWN] = { .name = "broker-down",
                           .scope = SCOPE_SERVICE,
                           .title = "broker not reached",
                           .meaning = "The MQTT broker does not answer, or our own messages do not come back "
                                      "through it.",
                           .consequence = "No readings arrive: no tank is watched.",
                           .action = "Check the broker and the network.",
                           .time = "Until it is back nobody sees what the tanks do.",
                           .priority = PRIORITY_HIGH,
                           .deadband = OWN_DEADBAND,
                           .on_delay_s = 60 },
    [KIND_STORE_FAILING] = { .name = "store-failing",
                             .scope = SCOPE_SERVICE,
                             .title = "store cannot be written",
                             .meaning = "The database refuses what should be kept.",
                             .consequence = "History is being lost; alerts go on.",
                             .action = "Free space on the disk, check the card.",
                             .time = "Hours: the waiting readings fit for a while.",
                             .priority = PRIORITY_MEDIUM,
                             .deadband = OWN_DEADBAND,
                             .on_delay_s = 60,
                             .off_delay_s = 60 },
    [KIND_INBOX_FULL] = { .name = "inbox-full",
                          .scope = SCOPE_SERVICE,
                          .title = "hand-over ring full",
                          .meaning = "Messages come faster than they can be kept.",
                          .consequence = "Messages wait at the broker; what was sent at QoS 0 is lost.",
                          .action = "See who sends so much, or why the store is slow; a larger "
                                    "store.inbox_kib takes longer bursts.",
                          .time = "Hours: the broker keeps them for a while.",
                          .priority = PRIORITY_LOW,
                          .deadband = OWN_DEADBAND,
                          .on_delay_s = 60,
                          .off_delay_s = 60 },
    [KIND_LOG_HELD] = { .name = "log-held",
                        .scope = SCOPE_SERVICE,
                        .title = "store's log cannot be cut",
                        .meaning = "Another program has been reading the store for long; until it ends, all "
                                   "that is written piles up in the log beside the store.",
                        .consequence = "The log grows until the disk is full, and every question to the "
                                       "store takes longer.",
                        .action = "End that program, or what it has begun. To work on the data, take a copy: "
                                  "lentic backup.",
                        .time = "Days, by the room that the disk has left.",
                        .priority = PRIORITY_LOW,
                        .deadband = OWN_DEADBAND,
                        .on_delay_s = 300 },
    [KIND_CERTIFICATE] = { .name = "certificate-ends",
                           .scope = SCOPE_SERVICE,
                           .title = "certificate for the broker ends soon",
                           .meaning =
                               "A certificate file with which the broker is reached ends within thirty "
                               "days, or has ended.",
                           .consequence = "From that day the broker is not reached, and no tank is watched.",
                           .action = "Renew it and put the new file in its place: it is read at the next "
                                     "connection, without a restart.",
                           .time = "Days to weeks: the date stands in the message.",
                           .priority = PRIORITY_LOW,
                           .deadband = OWN_DEADBAND,
                           .on_delay_s = 60 },
    [KIND_DELIVERY_FAILED] = { .name = "delivery-failed",
                               .scope = SCOPE_SERVICE,
                               .title = "messages not delivered",
                               .meaning = "The notify command failed several times in a row.",
                               .consequence = "You may not hear of an alert.",
                               .action = "Check the notify command.",
                               .time = "Now: until then only MQTT tells.",
                               .priority = PRIORITY_MEDIUM,
                               .deadband = OWN_DEADBAND,
                               .on_delay_s = 300 },
};

/* Kinds whose number is not in the quantity's unit. */
static const struct {
    const char *unit;
    int decimals;
} own_units[KIND_COUNT] = {
    [KIND_HEATER_DEAD] = { "°C", 2 }, [KIND_HEATER_STUCK] = { "°C", 2 },   [KIND_HEATER_WEAK] = { "°C", 2 },
    [KIND_ROOM_COLD] = { "°C", 1 },   [KIND_ROOM_HOT] = { "°C", 1 },       [KIND_SILENT] = { "min", 0 },
    [KIND_REFUSED] = { "", 0 },       [KIND_CALIBRATION_DUE] = { "d", 0 }, [KIND_BATTERY] = { "", 1 },
    [KIND_AMMONIA] = { "mg/L", 3 },   [KIND_OXYGEN] = { "mg/L", 2 },
};

static const char *const priority_names[PRIORITY_COUNT] = { "low", "medium", "high" };

static const char *const change_names[CHANGE_COUNT] = {
    [CHANGE_RAISE] = "raise",           [CHANGE_CLEAR] = "clear",       [CHANGE_REMIND] = "remind",
    [CHANGE_REALARM] = "realarm",       [CHANGE_ACK] = "ack",           [CHANGE_RESET] = "reset",
    [CHANGE_SHELVE] = "shelve",         [CHANGE_UNSHELVE] = "unshelve", [CHANGE_SUPPRESS] = "suppress",
    [CHANGE_UNSUPPRESS] = "unsuppress", [CHANGE_OUT] = "out",           [CHANGE_BACK] = "back",
    [CHANGE_STATE] = "state",           [CHANGE_UPDATE] = "update",
};

const struct kind_info *kind_info(enum alert_kind kind)
{
    return &kinds[kind];
}

const char *kind_unit(enum alert_kind kind, enum quantity q)
{
    if (own_units[kind].unit != NULL)
        return own_units[kind].unit;
    return q == Q_COUNT ? NULL : quantity_info(q)->unit;
}

int kind_decimals(enum alert_kind kind, enum quantity q)
{
    if (own_units[kind].unit != NULL)
        return own_units[kind].decimals;
    return q == Q_COUNT ? 2 : quantity_info(q)->decimals;
}

void kind_title(enum alert_kind kind, enum quantity q, struct text *out)
{
    const struct kind_info *info = kind_info(kind);
    if (q == Q_COUNT)
        text_put(out, info->title);
    else if (info->scope == SCOPE_TANK_LIMIT)
        text_printf(out, "%s %s", quantity_info(q)->title, info->title);
    else
        text_printf(out, "%s (%s)", info->title, quantity_info(q)->title);
}

enum priority priority_find(const char *name)
{
    for (int p = 0; p < PRIORITY_COUNT; p++)
        if (strcmp(name, priority_names[p]) == 0)
            return (enum priority)p;
    return PRIORITY_HIGH;
}

const char *priority_name(enum priority p)
{
    return priority_names[p];
}

const char *alert_change_name(enum alert_change c)
{
    return change_names[c];
}

const char *alert_state_name(enum alert_base base, unsigned marks)
{
    static const char *const names[] = { "NORM", "UNACK", "ACKED", "RTNUN", "LATUN", "LATAK" };
    if (marks & ALERT_OUT_OF_SERVICE)
        return "OOSRV";
    if (marks & ALERT_BY_DESIGN)
        return "DSUPR";
    if (marks & ALERT_SHELVED)
        return "SHLVD";
    return names[base];
}

const char *alert_state_words(enum alert_base base, unsigned marks)
{
    static const char *const words[] = { "quiet",
                                         "active, not acknowledged",
                                         "active, acknowledged",
                                         "over, not acknowledged",
                                         "over, waits to be acknowledged and reset",
                                         "over, waits to be reset" };
    if (marks & ALERT_OUT_OF_SERVICE)
        return "out of service";
    if (marks & ALERT_BY_DESIGN)
        return "kept quiet while work goes on";
    if (marks & ALERT_SHELVED)
        return "put aside";
    return words[base];
}

enum alert_family kind_family(enum alert_kind kind, enum quantity q)
{
    if (kind == KIND_DRIFTING && q == Q_EC)
        return FAMILY_SOLIDS;
    if (kinds[kind].scope != SCOPE_TANK_LIMIT)
        return kinds[kind].family;
    return q == Q_TEMP ? FAMILY_HEAT : q == Q_EC || q == Q_TDS ? FAMILY_SOLIDS : FAMILY_OTHER;
}

const char *kind_format(enum alert_kind kind, enum quantity q, char *buf, size_t cap)
{
    if (q == Q_COUNT)
        snprintf(buf, cap, "%s", kinds[kind].name);
    else
        snprintf(buf, cap, "%s-%s", quantity_info(q)->name, kinds[kind].name);
    return buf;
}
