/* Documents as the broker keeps them become a week; rubbish and strangers do no harm. */
#include "config_text.h"

#include <math.h>

#include "cli/plan_gather.h"

#define GATHER_SITE                                                                                          \
    "site = { id = \"mill\"; };\n"                                                                           \
    "sources = ( { id = \"ro\"; } );\n"                                                                      \
    "waters = ( { id = \"soft\"; ec = 200.0; gh = 4.0; kh = 0.0; source = \"ro\"; drift = { ec = 20.0; }; "  \
    "} );\n"                                                                                                 \
    "stores = ( { id = \"drum\"; water = \"soft\"; l_per_mm = 0.1; } );\n"                                   \
    "tanks = ( { id = \"a1\"; volume_l = 30.0; water = \"soft\"; } );\n"                                     \
    "probes = ( { topic = \"p/{tank}/ec\"; measures = \"ec\"; }, { topic = \"p/{store}/level\"; measures = " \
    "\"level\"; },\n"                                                                                        \
    "  { topic = \"air\"; place = \"room\"; measures = \"temp\"; } );\n"

#define NOW INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */

static struct gathered g;
static const struct options options = { "plan", NULL, "", NULL, 0, NULL };

static int make(void **state)
{
    (void)state;
    expect_sound(GATHER_SITE);
    return gathered_init(&g, &options, site, (utc_t){ NOW }) ? 0 : -1;
}

static int unmake(void **state)
{
    (void)state;
    gathered_fini(&g);
    return 0;
}

static void hear(const char *topic, const char *payload)
{
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload) };
    gathered_hear(&g, &m);
}

#define TANK_AT(t)                                                                                           \
    "{\"v\":1,\"t\":\"" t "\",\"values\":{\"ec\":{\"value\":260,\"t\":\"" t                                  \
    "\",\"flag\":1,\"stale\":false,\"origin\":\"probe\"}}}"

static void a_tank_s_document_is_planned_with(void **state)
{
    (void)state;
    hear("lentic/mill/tank/a1", TANK_AT("2026-03-01T11:59:30Z"));
    assert_true(g.heard[0]);
    gathered_eval(&g, 7);
    assert_int_equal(g.weeks[0].stages[0].reason, WEEK_OFF_TARGET);
    assert_true(g.weeks[0].now[WEEK_EC].value == 260);
    assert_true(g.room.waters[0].litres > 0);
}

/* Nobody refreshes it any more: the service is gone, and the water has moved on. */
static void an_old_document_counts_by_its_age(void **state)
{
    (void)state;
    hear("lentic/mill/tank/a1", TANK_AT("2026-03-01T03:00:00Z"));
    gathered_eval(&g, 7);
    assert_int_equal(g.weeks[0].now[WEEK_EC].origin, WEEK_TARGET);
}

static void sources_and_containers(void **state)
{
    (void)state;
    hear("lentic/mill/source/ro",
         "{\"v\":1,\"values\":{},\"probe\":{\"ec\":28.0,\"t\":\"2026-03-01T11:59:00Z\",\"stale\":false,"
         "\"per_day\":0.5,\"per_day_sd\":0.05,\"span_d\":14}}");
    hear("lentic/mill/probes",
         "{\"v\":1,\"probes\":[\n{\"probe\":\"p/drum/level\",\"value\":25,\"stale\":false},\n"
         "{\"probe\":\"air\",\"value\":19.5,\"stale\":false}\n]}");
    hear("lentic/mill/tank/a1", TANK_AT("2026-03-01T11:59:30Z"));
    assert_true(g.probes_heard && g.room_c == 19.5);
    gathered_eval(&g, 7);
    assert_int_equal(g.room.sources[0].water.wear, SOURCE_WEARING);
    assert_int_equal(g.room.sources[0].water.exhausted.ms, NOW + 4 * MS_PER_DAY);
    assert_int_equal(g.room.waters[0].stored_from, WEEK_STORED_LEVEL);
    assert_true(g.room.waters[0].stored_l == 2.5);
    assert_true(g.weeks[0].fresh[WEEK_TEMP].value == 19.5);
    hear("lentic/mill/probes",
         "{\"v\":1,\"probes\":[\n{\"probe\":\"p/drum/level\",\"value\":25,\"stale\":true}\n]}");
    gathered_eval(&g, 7);
    assert_int_equal(g.room.waters[0].stored_from, WEEK_STORED_NONE); /* a silent probe tells no level */
}

static void strangers_and_rubbish(void **state)
{
    (void)state;
    static const char *const topics[] = { "lentic/mill/tank/a1",
                                          "lentic/mill/tank/zz",
                                          "lentic/mill/source/ro",
                                          "lentic/mill/source/zz",
                                          "lentic/mill/probes",
                                          "lentic/mill",
                                          "x" };
    static const char *const payloads[] = { "", "{", "[1]", "{\"probe\":7}",
                                            "{\"v\":1,\"probes\":[\n{\"probe\"\n]}" };
    for (size_t t = 0; t < sizeof topics / sizeof *topics; t++)
        for (size_t p = 0; p < sizeof payloads / sizeof *payloads; p++)
            hear(topics[t], payloads[p]);
    assert_true(isnan(g.room_c));
    assert_int_equal(g.diary.sources[0].live.ec.origin, ORIGIN_NONE);
    gathered_eval(&g, 7);
    assert_int_equal(g.weeks[0].now[WEEK_EC].origin, WEEK_TARGET);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_tank_s_document_is_planned_with, make, unmake),
        cmocka_unit_test_setup_teardown(an_old_document_counts_by_its_age, make, unmake),
        cmocka_unit_test_setup_teardown(sources_and_containers, make, unmake),
        cmocka_unit_test_setup_teardown(strangers_and_rubbish, make, unmake),
    };
    RUN(tests);
}
