/* A small configured site, a pump on it and a clock: for tests of app. */
#ifndef LENTIC_TESTS_APP_BENCH_H
#define LENTIC_TESTS_APP_BENCH_H

#include "app/pump.h"
#include "config_text.h"

#define T0 INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */

#define BENCH_SITE                                                                                           \
    "site = { id = \"mill\"; };\n"                                                                           \
    "stocks = ( { id = \"bees\"; temp = [20.5, 25.0]; } );\n"                                                \
    "tanks = ( { id = \"a1\"; volume_l = 30.0; stock = \"bees\"; }, { id = \"a2\"; volume_l = 30.0; "        \
    "stock = \"bees\"; } );\n"                                                                               \
    "probes = ( { topic = \"probes/{tank}/temp\"; measures = \"temp\"; unit = \"Cel\"; every_s = 60; "       \
    "stale_s = 900; }, "                                                                                     \
    "{ topic = \"doc/{tank}\"; tanks = [\"a2\"]; values = ( { at = \"/ec\"; measures = \"ec\"; "             \
    "unit = \"uS/cm\"; compensated = false; alpha = 0.02; }, { at = \"/t\"; measures = \"temp\"; "           \
    "unit = \"Cel\"; } ); } );\n"                                                                            \
    "alerts = ( { kind = \"temp-low\"; tank = \"a1\"; on_delay_s = 0; } );\n"

static struct pump pump;
static int64_t ms; /* since T0, and the boot clock */

static inline struct now now_is(void)
{
    return (struct now){ { T0 + ms }, { ms }, true };
}

static inline void say_retained(const char *topic, const char *payload, bool retain)
{
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload),
                         .qos = 1,
                         .retain = retain,
                         .now = now_is() };
    pump_message(&pump, &m);
}

static inline void say(const char *topic, const char *payload)
{
    say_retained(topic, payload, false);
}

static inline void minute(const char *topic, const char *payload)
{
    ms += MS_PER_MIN;
    say(topic, payload);
}

#endif
