#include "app/homie_tree.h"
#include "app_bench.h"

static struct homie_tree *tree;
static char out[262144], memory[65536];
static int room; /* messages that still go out */

static bool on_send(void *context, const char *topic, const char *payload, size_t n, bool retain)
{
    (void)context;
    if (room-- <= 0)
        return false;
    size_t at = strlen(out);
    (void)snprintf(out + at, sizeof out - at, "%s%s %.*s\n", topic + strlen("homie/5/"),
                   retain ? "" : " once", n > 600 ? 600 : (int)n, payload);
    return true;
}

static void on_save(void *context, const char *text, size_t n)
{
    (void)context;
    (void)snprintf(memory, sizeof memory, "%.*s", (int)n, text);
}

static void on_effect(void *context, const struct effect *e)
{
    (void)context;
    homie_tree_effect(tree, e);
}

static void on_set(void *context, const struct homie_set *set, enum status st, const char *sentence)
{
    (void)context;
    homie_tree_set(tree, set, st, sentence, now_is());
}

static struct homie_sinks sinks = { .send = on_send, .save = on_save };

static int make(void **state)
{
    (void)state;
    struct pump_sinks pump_sinks = { .effect = on_effect, .set = on_set };
    expect_sound(BENCH_SITE);
    ms = 0;
    out[0] = memory[0] = '\0';
    room = 100000;
    pump_init(&pump, site, &pump_sinks, now_is());
    tree = homie_tree_init(site, &sinks, NULL);
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    homie_tree_fini(tree);
    pump_fini(&pump);
    return 0;
}

static void connect(void)
{
    homie_tree_connected(tree, pump.engine, now_is());
    homie_tree_advance(tree, pump.engine, now_is());
}

static void later(int64_t wait_ms)
{
    ms += wait_ms;
    out[0] = '\0';
    pump_advance(&pump, now_is());
    homie_tree_advance(tree, pump.engine, now_is());
}

static bool sent(const char *words)
{
    return strstr(out, words) != NULL;
}

static bool in_order(const char *const *words)
{
    const char *at = out;
    for (; *words != NULL; words++) {
        at = strstr(at, *words);
        if (at == NULL)
            return false;
    }
    return true;
}

static void children_are_ready_before_the_root(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/$state init",
                                         "mill-tank-a1/$description {",
                                         "mill-tank-a1/alerts/level none",
                                         "mill-tank-a1/$state ready",
                                         "mill-tank-a2/$state ready",
                                         "mill/$state init",
                                         "mill/$description {",
                                         "mill/alerts/count 0",
                                         "mill/$state ready",
                                         NULL };
    connect();
    assert_true(in_order(order));
    assert_non_null(strstr(memory, "device homie/5/mill-tank-a1 "));
}

/* The queue of the connection is bounded: it carries on where it stopped. */
static void no_room_stops_it_and_nothing_is_lost(void **state)
{
    (void)state;
    connect();
    static char whole[sizeof out];
    (void)snprintf(whole, sizeof whole, "%s", out);
    out[0] = '\0';
    room = 7;
    connect();
    assert_true(sent("mill-tank-a1/$state init"));
    assert_false(sent("ready"));
    for (int i = 0; i < 100; i++) {
        room = 3;
        homie_tree_advance(tree, pump.engine, now_is());
    }
    assert_string_equal(out, whole);
}

static void a_new_quantity_is_described_anew_once_ready_is_taken_back(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/$state init", "\"temp\":{",
                                         "mill-tank-a1/temp/value 22.50", "mill-tank-a1/$state ready", NULL };
    connect();
    minute("probes/a1/temp", "22.5");
    later(1000);
    assert_false(sent("temp/value"));
    later(6000);
    assert_true(in_order(order));
    assert_false(sent("mill-tank-a2/$state"));
}

static void values_within_the_dead_step_wait_for_the_slowest_refresh(void **state)
{
    (void)state;
    minute("probes/a1/temp", "22.5");
    connect();
    minute("probes/a1/temp", "22.51");
    later(6000);
    assert_false(sent("temp/value"));
    minute("probes/a1/temp", "22.7");
    later(6000);
    assert_true(sent("mill-tank-a1/temp/value 22.70"));
    assert_true(sent("mill-tank-a1/temp/time 2026-03-01T12:0"));
    minute("probes/a1/temp", "22.71");
    later(301000);
    assert_true(sent("mill-tank-a1/temp/value 22.71"));
}

static void an_alert_is_told_and_withdrawn(void **state)
{
    (void)state;
    minute("probes/a1/temp", "22.5");
    connect();
    for (int i = 0; i < 4; i++)
        minute("probes/a1/temp", i % 2 ? "19.5" : "19.56");
    later(10);
    assert_true(sent("mill-tank-a1/$alert/temp-low temperature below"));
    assert_true(sent("mill-tank-a1/alerts/level high"));
    assert_true(sent("mill/alerts/most-urgent tank/a1: temperature"));
    assert_non_null(strstr(memory, "$alert/temp-low"));
    say("homie/5/mill/alerts/acknowledge/set", "true");
    assert_int_equal(engine_alert(pump.engine, site_alert_find(site, "tank/a1/temp-low", 16))->base,
                     ALERT_ACKED);
    for (int i = 0; i < 10; i++)
        minute("probes/a1/temp", i % 2 ? "22" : "22.06");
    later(10);
    assert_true(sent("mill-tank-a1/$alert/temp-low \n"));
    tree->devices[0].phase = HOMIE_BEGIN; /* a new description on the same connection does not count */
    tree->due = (mono_t){ 0 };
    later(10);
    assert_true(sent("mill-tank-a1/$state init"));
    /* The connection was dying: nobody heard it. It is said again on the next one, and that is enough. */
    for (int i = 0; i < 3; i++) {
        homie_tree_lost(tree);
        out[0] = '\0';
        connect();
        assert_int_equal(sent("mill-tank-a1/$alert/temp-low \n"), i == 0);
    }
    assert_null(strstr(memory, "$alert/temp-low"));
}

static void a_set_is_echoed_to_the_byte_and_falls_back_in_time(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/service/window/$target 030",
                                         "mill-tank-a1/service/window 30", NULL };
    connect();
    out[0] = '\0';
    say("homie/5/mill-tank-a1/service/window/set", "030");
    homie_tree_advance(tree, pump.engine, now_is());
    assert_true(in_order(order));
    say("homie/5/mill-tank-a1/service/window/set", "soon");
    assert_true(sent("mill-tank-a1/$log/warn once "));
    later(31 * MS_PER_MIN);
    assert_true(sent("mill-tank-a1/service/window/$target 0\n"));
    assert_true(sent("mill-tank-a1/service/window 0\n"));
    say("homie/5/mill-tank-a1/alerts/acknowledge/set", "true");
    assert_true(sent("mill-tank-a1/alerts/acknowledge/$target true"));
    later(40000);
    assert_true(sent("mill-tank-a1/alerts/acknowledge false"));
}

/* A shelf opened elsewhere has its target as well. */
static void what_others_do_has_a_target(void **state)
{
    (void)state;
    connect();
    say("lentic/mill/do/shelve", "{\"id\":\"tank/a1/temp-low\",\"minutes\":20}");
    later(10);
    assert_true(sent("mill-tank-a1/alerts/shelve/$target 20\n"));
    assert_true(sent("mill-tank-a1/alerts/shelve 20\n"));
}

static int times(const char *words)
{
    int n = 0;
    for (const char *at = out; (at = strstr(at, words)) != NULL; at++)
        n++;
    return n;
}

static void a_controller_that_insists_is_told_now_and_then(void **state)
{
    (void)state;
    connect();
    for (int i = 0; i < 200; i++)
        say("homie/5/mill-tank-a1/service/window/set", "soon");
    assert_int_equal(times("mill-tank-a1/$log/warn"), 10);
    say("homie/5/mill-tank-a2/service/window/set", "soon");
    assert_int_equal(times("mill-tank-a2/$log/warn"), 1);
    later(10000);
    say("homie/5/mill-tank-a1/service/window/set", "soon");
    assert_int_equal(times("mill-tank-a1/$log/warn"), 1);
}

/* A forecast that has gone: a broker that lost everything is not promised it, and one that kept it lets go.
 */
static void what_has_no_value_any_more_is_not_promised(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/$state init", "mill-tank-a1/forecast/limit \n",
                                         "mill-tank-a1/forecast/at \n", "mill-tank-a1/$state ready", NULL };
    static const struct homie_property limit = { HOMIE_FORECAST_LIMIT, 0 }, at = { HOMIE_FORECAST_AT, 0 };
    connect();
    struct homie_device *d = &tree->devices[0];
    d->known.forecast = true;
    d->slots[d->count++] = (struct homie_slot){ .property = limit, .told = 1 };
    d->slots[d->count++] = (struct homie_slot){ .property = at, .told = 1 };
    out[0] = '\0';
    homie_tree_lost(tree);
    room = 2; /* the new connection goes as well, before anything was cleared */
    connect();
    homie_tree_lost(tree);
    room = 100000;
    connect();
    assert_true(in_order(order));
    assert_false(sent("\"limit\""));
    assert_int_equal(times("forecast/limit \n"), 1);
}

/* The value goes between the description and its turn. */
static void a_value_that_went_meanwhile_is_described_away(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/$description", "mill-tank-a1/$state init",
                                         "mill-tank-a1/$state ready", NULL };
    homie_tree_connected(tree, pump.engine, now_is());
    struct homie_device *d = &tree->devices[0];
    d->slots[d->count++] = (struct homie_slot){ .property = { HOMIE_FORECAST_LIMIT, 0 } };
    homie_tree_advance(tree, pump.engine, now_is());
    assert_true(in_order(order));
    assert_int_equal(times("mill-tank-a1/$state init"), 2);
    assert_int_equal(times("mill-tank-a1/$state ready"), 1);
    assert_false(sent("forecast/limit 1"));
}

static void reconnect_as(const char *conf, bool reload)
{
    char *before = homie_memory_format(tree);
    (void)snprintf(memory, sizeof memory, "%s", before);
    free(before);
    homie_tree_fini(tree);
    pump_fini(&pump);
    struct pump_sinks pump_sinks = { .effect = on_effect, .set = on_set };
    expect_sound(conf);
    pump_init(&pump, site, &pump_sinks, now_is());
    tree = homie_tree_init(site, &sinks, memory);
    out[0] = '\0';
    if (reload)
        homie_tree_reloaded(tree, pump.engine, now_is());
    else
        homie_tree_connected(tree, pump.engine, now_is());
    homie_tree_advance(tree, pump.engine, now_is());
}

static const char other[] = "site = { id = \"mill\"; };\ntanks = ( { id = \"a1\"; volume_l = 30.0; }, { id = "
                            "\"a7\"; volume_l = 30.0; } );\n"
                            "probes = ( { topic = \"probes/{tank}/temp\"; measures = \"temp\"; } );\n";

static void another_configuration_on_the_same_connection(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a7/$state ready",
                                         "mill/$state init",
                                         "mill/$description",
                                         "mill/$state ready",
                                         "mill-tank-a2/$state \n",
                                         "mill-tank-a2/$description \n",
                                         "mill-tank-a2/alerts/level \n",
                                         "mill-tank-a2/alerts/shelve/$target \n",
                                         NULL };
    connect();
    reconnect_as(other, true);
    assert_true(in_order(order));
    assert_false(sent("mill-tank-a1/$state")); /* nothing changed there */
    for (int i = 0; i < 3; i++) {              /* once more on the next connection */
        assert_int_equal(strstr(memory, "a2") != NULL, i == 0);
        homie_tree_lost(tree);
        out[0] = '\0';
        connect();
        assert_int_equal(sent("mill-tank-a2/$state \n"), i == 0);
    }
}

static void another_start_withdraws_first_and_versions_only_grow(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a2/$state \n", "mill-tank-a1/$state init",
                                         "mill/$state ready", NULL };
    ms = MS_PER_MIN;
    connect();
    int64_t version = tree->devices[0].version, root = tree->devices[tree->count - 1].version;
    ms = 0; /* the clock has gone back */
    reconnect_as(other, false);
    assert_true(in_order(order));
    assert_int_equal(tree->devices[0].version, version);
    assert_true(tree->devices[tree->count - 1].version > root);
}

static void dropped_topics_are_cleared_before_ready(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/$state init", "mill-tank-a1/temp/value \n",
                                         "mill-tank-a1/$state ready", NULL };
    minute("probes/a1/temp", "22.5");
    connect();
    reconnect_as(BENCH_SITE, false); /* an engine that has measured nothing */
    assert_true(in_order(order));
}

static void switched_off_all_is_named(void **state)
{
    (void)state;
    connect();
    char *topics = homie_memory_topics(memory);
    assert_non_null(topics);
    assert_ptr_equal(strstr(topics, "homie/5/mill/$state\n"), topics);
    assert_non_null(strstr(topics, "homie/5/mill-tank-a2/alerts/shelve/$target\n"));
    free(topics);
    assert_null(homie_memory_topics("rubbish\n \ndevice\nghost\n"));
}

static void a_clean_stop_leaves_the_root_last(void **state)
{
    (void)state;
    static const char *const order[] = { "mill-tank-a1/$state disconnected",
                                         "mill-tank-a2/$state disconnected", "mill/$state disconnected",
                                         NULL };
    connect();
    homie_tree_stop(tree);
    assert_true(in_order(order));
}

#define ON_BENCH(test) cmocka_unit_test_setup_teardown(test, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_BENCH(children_are_ready_before_the_root),
        ON_BENCH(no_room_stops_it_and_nothing_is_lost),
        ON_BENCH(a_new_quantity_is_described_anew_once_ready_is_taken_back),
        ON_BENCH(values_within_the_dead_step_wait_for_the_slowest_refresh),
        ON_BENCH(an_alert_is_told_and_withdrawn),
        ON_BENCH(a_set_is_echoed_to_the_byte_and_falls_back_in_time),
        ON_BENCH(a_controller_that_insists_is_told_now_and_then),
        ON_BENCH(what_has_no_value_any_more_is_not_promised),
        ON_BENCH(a_value_that_went_meanwhile_is_described_away),
        ON_BENCH(what_others_do_has_a_target),
        ON_BENCH(another_configuration_on_the_same_connection),
        ON_BENCH(another_start_withdraws_first_and_versions_only_grow),
        ON_BENCH(dropped_topics_are_cleared_before_ready),
        ON_BENCH(switched_off_all_is_named),
        ON_BENCH(a_clean_stop_leaves_the_root_last),
    };
    RUN(tests);
}
