#include "model/alert.h"

#include <math.h>
#include <stdio.h>

#define OWN_DEADBAND NAN

/* What each alert means, what happens if nothing is done, and what to do. Delays in seconds: on, off. */
static const struct kind_info kinds[KIND_COUNT] = {
    [KIND_LOW] = { "low", SCOPE_TANK_LIMIT, "below the band",
                   "Outside their band the animals stop breeding, then die.",
                   "Find out why it fell before you correct it, and correct it slowly.", PRIORITY_HIGH, false,
                   OWN_DEADBAND, 120, 300 },
    [KIND_HIGH] = { "high", SCOPE_TANK_LIMIT, "above the band",
                    "Warm or concentrated water holds less oxygen and stresses moulting animals.",
                    "Find out why it rose before you correct it, and correct it slowly.", PRIORITY_HIGH,
                    false, OWN_DEADBAND, 120, 300 },
    [KIND_SWING] = { "swing", SCOPE_TANK_LIMIT, "swings too far within a day",
                     "Daily swings cost failed moults and lost clutches.",
                     "Look at lid, room, heater size and lamp; even the temperature out.", PRIORITY_LOW,
                     false, OWN_DEADBAND, 900, 3600 },
    [KIND_FAST] = { "fast", SCOPE_TANK_LIMIT, "changes faster than the animals bear",
                    "A fast change sets off bad moults.", "Stop what is changing the water; let it settle.",
                    PRIORITY_MEDIUM, false, OWN_DEADBAND, 600, 3600 },
    [KIND_DRIFT] = { "drift", SCOPE_TANK_LIMIT, "has drifted away from the water's target",
                     "The colony sits in other water than it was meant to; the next change becomes a shock.",
                     "Bring it back in steps with matched water or pure top-off.", PRIORITY_LOW, false,
                     OWN_DEADBAND, 6 * 3600, 6 * 3600 },
    [KIND_HEATER_DEAD] = { "heater-dead", SCOPE_TANK, "heater not heating",
                           "The tank cools to room temperature.",
                           "Check plug, switch and circuit; have a spare heater ready. Unplug before "
                           "reaching into the water.",
                           PRIORITY_HIGH, false, OWN_DEADBAND, 0, 1200 },
    [KIND_HEATER_STUCK] = { "heater-stuck", SCOPE_TANK, "heater stuck on",
                            "The tank heats until the animals die.",
                            "Unplug the heater now, open the lid, replace the thermostat.", PRIORITY_HIGH,
                            false, OWN_DEADBAND, 0, 1200 },
    [KIND_HEATER_WEAK] = { "heater-weak", SCOPE_TANK, "heater weak or too small",
                           "On the next cold night the tank leaves its band.",
                           "Cover the tank, warm the room, plan a stronger or new heater.", PRIORITY_MEDIUM,
                           false, OWN_DEADBAND, 0, 3600 },
    [KIND_TOPOFF_STOPPED] = { "topoff-stopped", SCOPE_TANK, "top-off stopped",
                              "The water concentrates as it evaporates.",
                              "Refill the reservoir or free the float; top off slowly with pure water.",
                              PRIORITY_LOW, false, OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_TOPOFF_MINERALS] = { "topoff-minerals", SCOPE_TANK, "minerals in the top-off water",
                               "Dissolved solids climb with every top-off.",
                               "Measure the top-off water; it should be pure.", PRIORITY_LOW, false,
                               OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_TOPOFF_OVER] = { "topoff-over", SCOPE_TANK, "top-off running over",
                           "The water is diluted and the tank may overflow.",
                           "Close the top-off, check the float; correct the minerals in small steps.",
                           PRIORITY_HIGH, false, OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_LEAK] = { "leak", SCOPE_TANK, "leak", "The tank runs dry; water reaches the floor and sockets.",
                    "Switch off mains devices from a dry place, then look for the leak.", PRIORITY_HIGH,
                    false, OWN_DEADBAND, 0, 3600 },
    [KIND_WASTE] = { "waste", SCOPE_TANK, "waste building up",
                     "Nitrogen and dissolved solids rise until animals die.",
                     "Feed less, look for dead animals, test ammonia and nitrite, change water in small "
                     "steps.",
                     PRIORITY_LOW, false, OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_EC_FALL] = { "ec-fall", SCOPE_TANK, "dissolved solids fell without an announced change",
                       "A sudden dilution sets off bad moults.",
                       "Was water added? Note it; if not, check top-off and probe.", PRIORITY_LOW, false,
                       OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_BATCH] = { "bad-batch", SCOPE_WATER, "bad batch",
                     "All tanks that got this water stepped away from their target together.",
                     "Stop using the batch, measure it, correct it before the next change.", PRIORITY_MEDIUM,
                     false, OWN_DEADBAND, 0, 24 * 3600 },
    [KIND_SOURCE_WORN] = { "worn", SCOPE_SOURCE, "source unit exhausted",
                           "Purified water carries tap minerals, and chlorine may pass.",
                           "Change the resin, carbon or membrane; measure before and after.", PRIORITY_MEDIUM,
                           false, OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_POWER_LOST] = { "power-lost", SCOPE_CIRCUIT, "circuit lost power", "All tanks on it cool together.",
                          "Look at breaker and residual-current device. Do not reset twice: call an "
                          "electrician.",
                          PRIORITY_HIGH, false, OWN_DEADBAND, 180, 900 },
    [KIND_ROOM_COLD] = { "cold", SCOPE_ROOM, "room cold", "Every tank follows the room.",
                         "Warm the room, close windows, cover the tanks.", PRIORITY_HIGH, false, OWN_DEADBAND,
                         0, 1800 },
    [KIND_ROOM_HOT] = { "hot", SCOPE_ROOM, "room hot", "Every tank follows the room.",
                        "Shade and air the room, lamps off, lids open, add air stones.", PRIORITY_HIGH, false,
                        OWN_DEADBAND, 0, 1800 },
    [KIND_OUT_OF_WATER] = { "out-of-water", SCOPE_TANK, "probe out of the water", "The tank is not watched.",
                            "Put the probe back, check the water level.", PRIORITY_MEDIUM, false,
                            OWN_DEADBAND, 0, 600 },
    [KIND_SILENT] = { "silent", SCOPE_STREAM, "probe silent", "The tank is not watched.",
                      "Check the probe's power and network; measure by hand until it is back.",
                      PRIORITY_MEDIUM, false, OWN_DEADBAND, 0, 0 },
    [KIND_STUCK] = { "stuck", SCOPE_STREAM, "probe stuck",
                     "The shown value is old; the true one is not known.",
                     "Restart or replace the probe; measure by hand.", PRIORITY_LOW, false, OWN_DEADBAND, 0,
                     0 },
    [KIND_NOISY] = { "noisy", SCOPE_STREAM, "probe noisy", "Small changes cannot be seen.",
                     "Check cable, grounding and calibration; clean the probe.", PRIORITY_LOW, false,
                     OWN_DEADBAND, 0, 3600 },
    [KIND_DRIFTING] = { "drifting", SCOPE_STREAM, "probe drifting", "Decisions rest on a wrong number.",
                        "Test by hand, clean, calibrate.", PRIORITY_LOW, false, OWN_DEADBAND, 0, 6 * 3600 },
    [KIND_REFUSED] = { "refused", SCOPE_STREAM, "payloads refused",
                       "The probe talks but cannot be understood: the tank is not watched.",
                       "Compare unit and form of the payload with the configuration.", PRIORITY_MEDIUM, false,
                       OWN_DEADBAND, 0, 0 },
    [KIND_CALIBRATION_DUE] = { "calibration-due", SCOPE_STREAM, "calibration due",
                               "The reading wanders off unseen.", "Calibrate the probe.", PRIORITY_LOW, false,
                               OWN_DEADBAND, 0, 0 },
    [KIND_AMMONIA] = { "ammonia", SCOPE_TANK, "un-ionised ammonia", "It burns gills within hours.",
                       "Change water in small steps, stop feeding, test again.", PRIORITY_HIGH, false, 0.005,
                       0, 0 },
    [KIND_OXYGEN] = { "oxygen", SCOPE_TANK, "warm water holds little oxygen",
                      "The animals suffocate at night.", "Add air, cool the water slowly.", PRIORITY_MEDIUM,
                      false, 0.15, 1800, 3600 },
    [KIND_BROKER_DOWN] = { "broker-down", SCOPE_SERVICE, "broker not reached",
                           "No readings arrive: no tank is watched.", "Check the broker and the network.",
                           PRIORITY_HIGH, false, OWN_DEADBAND, 60, 0 },
    [KIND_STORE_FAILING] = { "store-failing", SCOPE_SERVICE, "store cannot be written",
                             "History is being lost; alerts go on.",
                             "Free space on the disk, check the card.", PRIORITY_MEDIUM, false, OWN_DEADBAND,
                             60, 60 },
    [KIND_INBOX_FULL] = { "inbox-full", SCOPE_SERVICE, "hand-over ring full", "Messages wait at the broker.",
                          "See why the store is slow.", PRIORITY_LOW, false, OWN_DEADBAND, 60, 60 },
    [KIND_DELIVERY_FAILED] = { "delivery-failed", SCOPE_SERVICE, "messages not delivered",
                               "You may not hear of an alert.", "Check the notify command.", PRIORITY_MEDIUM,
                               false, OWN_DEADBAND, 300, 0 },
};

/* Kinds whose number is not in the quantity's unit. */
static const struct {
    const char *unit;
    int decimals;
} own_units[KIND_COUNT] = {
    [KIND_HEATER_DEAD] = { "°C", 2 }, [KIND_HEATER_STUCK] = { "°C", 2 }, [KIND_HEATER_WEAK] = { "°C", 2 },
    [KIND_ROOM_COLD] = { "°C", 1 },   [KIND_ROOM_HOT] = { "°C", 1 },     [KIND_SILENT] = { "min", 0 },
    [KIND_NOISY] = { "%", 0 },        [KIND_REFUSED] = { "", 0 },        [KIND_CALIBRATION_DUE] = { "d", 0 },
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

const char *kind_format(enum alert_kind kind, enum quantity q, char *buf, size_t cap)
{
    if (q == Q_COUNT)
        snprintf(buf, cap, "%s", kinds[kind].name);
    else
        snprintf(buf, cap, "%s-%s", quantity_info(q)->name, kinds[kind].name);
    return buf;
}
