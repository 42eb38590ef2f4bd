#include "model/effect.h"

static const char *const names[EVENT_COUNT] = {
    [EVENT_CHANGE_SEEN] = "change-seen",
    [EVENT_TOPOFF_SEEN] = "topoff-seen",
    [EVENT_SERVICE_BEGIN] = "service-begin",
    [EVENT_SERVICE_END] = "service-end",
    [EVENT_SERVICE_STEP] = "service-step",
    [EVENT_UNLEARNT] = "unlearnt",
    [EVENT_PROBE_LATE] = "probe-late",
    [EVENT_CONFLICT] = "conflict",
    [EVENT_RETAINED_IGNORED] = "retained-ignored",
    [EVENT_REJECTED] = "rejected",
    [EVENT_COMMAND] = "command",
    [EVENT_FORECAST] = "forecast",
    [EVENT_FORECAST_SCORED] = "forecast-scored",
    [EVENT_CLOCK] = "clock",
    [EVENT_CALIBRATED] = "calibrated",
    [EVENT_DOUBT] = "doubt",
    [EVENT_EXCHANGED] = "exchanged",
    [EVENT_CHATTER_BEGIN] = "chatter-begin",
    [EVENT_CHATTER_END] = "chatter-end",
    [EVENT_HABIT] = "habit",
    [EVENT_FLOOD_BEGIN] = "flood-begin",
    [EVENT_FLOOD_END] = "flood-end",
    [EVENT_SHELF_ENDS] = "shelf-ends",
    [EVENT_TEST] = "test",
    [EVENT_TEST_RESULT] = "test-result",
};

const char *event_kind_name(enum event_kind k)
{
    return names[k];
}
