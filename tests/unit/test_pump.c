#include "app_bench.h"

static char answers[4096], seen[65536], answered_on[300];
static int answer_count, notes;
static bool traced;

static void on_effect(void *context, const struct effect *e)
{
    (void)context;
    size_t at = strlen(seen), room = sizeof seen - at;
    if (e->kind == EFFECT_READING)
        (void)snprintf(seen + at, room, "reading %s %.6g\n", site->streams[e->u.reading.stream].name,
                       e->u.reading.value);
    else if (e->kind == EFFECT_JOURNAL)
        notes++;
    else if (e->kind == EFFECT_ALERT)
        (void)snprintf(seen + at, room, "%lld %s %s\n", (long long)(e->t.ms - T0),
                       site->alerts[e->u.alert.alert.index].ref, alert_change_name(e->u.alert.change));
}

static void on_answer(void *context, const struct message *m, const char *json, size_t n)
{
    (void)context;
    answer_count++;
    (void)snprintf(answered_on, sizeof answered_on, "%.*s",
                   m->reply_topic != NULL ? (int)m->reply_topic_len : 0,
                   m->reply_topic != NULL ? m->reply_topic : "");
    (void)snprintf(answers, sizeof answers, "%.*s", (int)n, json);
}

static void on_trace(void *context, const char *stage, const char *text)
{
    (void)context;
    traced = traced || (strcmp(stage, "engine/gate") == 0 && strstr(text, "22.5") != NULL);
}

static int make(void **state)
{
    struct pump_sinks sinks = { .effect = on_effect, .answer = on_answer, .trace = on_trace };
    (void)state;
    expect_sound(BENCH_SITE);
    ms = 0;
    answers[0] = seen[0] = '\0';
    answer_count = notes = 0;
    traced = false;
    pump_init(&pump, site, &sinks, now_is());
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    pump_fini(&pump);
    return 0;
}

static bool did(const char *words)
{
    return strstr(seen, words) != NULL;
}

static void a_message_becomes_a_reading(void **state)
{
    (void)state;
    say("probes/a1/temp", "22.5");
    assert_true(did("reading probes/a1/temp 22.5"));
    assert_true(traced);
    assert_int_equal(pump.counts.messages, 1);
    say("probes/nobody/temp", "22.5");
    say("probes/a1/temp/x", "22.5");
    assert_int_equal(pump.counts.nobodys, 2);
}

/* The document names its conductivity first, but needs its temperature. */
static void temperature_of_a_document_goes_first(void **state)
{
    (void)state;
    say("doc/a2", "{\"ec\":300,\"t\":15}");
    assert_true(did("reading doc/a2#/ec 375"));
}

static void retained_counts_for_nothing(void **state)
{
    (void)state;
    say_retained("probes/a1/temp", "22.5", true);
    assert_false(did("reading"));
}

/* Two messages of one instant, and a timer of that instant: it comes after both. */
static void timers_of_an_instant_come_last(void **state)
{
    (void)state;
    minute("probes/a1/temp", "22.5");
    ms = 15 * MS_PER_MIN; /* a2 was never heard: due now */
    say("probes/a1/temp", "22.5");
    assert_false(did("temp-silent"));
    say("probes/a2/temp", "22.5");
    say("doc/a2", "{\"ec\":300,\"t\":22}");
    pump_advance(&pump, now_is());
    assert_false(did("tank/a2/temp-silent raise"));
}

static void time_runs_without_messages(void **state)
{
    (void)state;
    assert_true(pump_deadline(&pump).ms <= 15 * MS_PER_MIN);
    ms = MS_PER_HOUR;
    pump_advance(&pump, now_is());
    assert_true(did("900000 tank/a1/temp-silent raise"));
}

#if defined __GLIBC__ && !defined __SANITIZE_ADDRESS__ && !defined __SANITIZE_THREAD__
extern void *__libc_malloc(size_t n);
extern void *__libc_calloc(size_t count, size_t n);
extern void *__libc_realloc(void *p, size_t n);
static long allocations;

void *malloc(size_t n)
{
    allocations++;
    return __libc_malloc(n);
}

void *calloc(size_t count, size_t n)
{
    allocations++;
    return __libc_calloc(count, n);
}

void *realloc(void *p, size_t n)
{
    allocations++;
    return __libc_realloc(p, n);
}

/* Ten days of plain readings, with alerts raised and cleared, timers, topics that nobody knows. */
static void a_message_allocates_nothing(void **state)
{
    (void)state;
    long before = allocations;
    expect_sound(BENCH_SITE);
    assert_true(allocations > before); /* it does count */
    pump_fini(&pump);
    pump_init(&pump, site, &(struct pump_sinks){ .effect = on_effect }, now_is());
    before = allocations;
    for (int i = 0; i < 14400; i++) {
        minute("probes/a1/temp", i / 60 % 2 ? "19.5" : "22.56");
        if (i % 7 == 0)
            say("probes/nobody/temp", "22.5");
        if (i % 11 == 0)
            say("probes/a1/temp", "rubbish");
    }
    assert_true(did("tank/a1/temp-low raise") && did("tank/a1/temp-low clear"));
    assert_int_equal(allocations, before);
}
#else
static void a_message_allocates_nothing(void **state)
{
    (void)state;
    skip(); /* somebody else counts here */
}
#endif

static void commands_are_obeyed_and_answered(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++)
        minute("probes/a1/temp", i % 2 ? "19.5" : "19.56");
    assert_true(did("tank/a1/temp-low raise"));
    say("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\",\"who\":\"mara\"}");
    assert_true(did("tank/a1/temp-low ack"));
    assert_non_null(strstr(answers, "\"ok\":true"));
    say("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\"}");
    assert_non_null(strstr(answers, "\"ok\":false"));
    say("lentic/mill/do/dance", "");
    assert_non_null(strstr(answers, "\"ok\":false"));
    say("lentic/mill/do/ack", "{\"id\":");
    assert_non_null(strstr(answers, "\"ok\":false"));
    assert_int_equal(pump.counts.commands, 4);
    assert_int_equal(pump.counts.commands_refused, 3);
}

static void a_retained_command_is_never_obeyed(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++)
        minute("probes/a1/temp", i % 2 ? "19.5" : "19.56");
    say_retained("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\"}", true);
    assert_false(did("temp-low ack"));
    assert_non_null(strstr(answers, "retain"));
    answers[0] = '\0'; /* who then clears it asks for nothing */
    say_retained("lentic/mill/do/ack", "", true);
    say_retained("homie/5/mill/alerts/acknowledge/set", "", true);
    assert_string_equal(answers, "");
    assert_int_equal(pump.counts.commands, 1);
}

/* MQTT 5, with a response topic and correlation data. */
static void ask(const char *topic, const char *payload, const char *reply, const char *correlation)
{
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload),
                         .qos = 1,
                         .reply_topic = reply,
                         .reply_topic_len = (uint32_t)strlen(reply),
                         .correlation = correlation,
                         .correlation_len = (uint32_t)strlen(correlation),
                         .now = now_is() };
    pump_message(&pump, &m);
}

static void a_note_delivered_again_is_written_once(void **state)
{
    (void)state;
    static const char note[] = "{\"tank\":\"a1\",\"what\":\"change\",\"litres\":3}";
    for (int i = 0; i < 3; i++)
        ask("lentic/mill/do/note", note, "my/answers", "c-1");
    assert_int_equal(notes, 1);
    assert_int_equal(answer_count, 3);
    assert_non_null(strstr(answers, "\"ok\":true"));
    ask("lentic/mill/do/note", note, "my/answers", "c-2"); /* the same thing done again */
    ask("lentic/mill/do/note", note, "other/answers", "c-1");
    say("lentic/mill/do/note", note); /* 3.1.1: nothing tells it from another one */
    assert_int_equal(notes, 4);
    ms += 2 * MS_PER_MIN;
    ask("lentic/mill/do/note", note, "my/answers", "c-1");
    assert_int_equal(notes, 5);
    ask("lentic/mill/do/ack", "{}", "my/answers", "c-1"); /* asked anew: alerts may have come since */
    ask("lentic/mill/do/ack", "{}", "my/answers", "c-1");
    assert_int_equal(pump.counts.commands, 7);
}

static void an_answer_goes_nowhere_where_the_service_speaks_or_listens(void **state)
{
    (void)state;
    static const char *const ours[] = { "lentic/mill/status", "lentic/mill/do/test",
                                        "homie/5/mill-tank-a1/alerts/shelve/set", "probes/a1/temp",
                                        "doc/a2" };
    static const char *const theirs[] = { "lentic/mill/answer/board", "lentic/millpond/x", "my/answers",
                                          "probes/a9/temp" };
    for (size_t i = 0; i < sizeof ours / sizeof *ours; i++) {
        ask("lentic/mill/do/ack", "{}", ours[i], "c");
        assert_string_equal(answered_on, "");
    }
    for (size_t i = 0; i < sizeof theirs / sizeof *theirs; i++) {
        ask("lentic/mill/do/ack", "{}", theirs[i], "c");
        assert_string_equal(answered_on, theirs[i]);
    }
}

static void a_command_that_was_cut_is_refused(void **state)
{
    (void)state;
    static char payload[MESSAGE_PAYLOAD_MAX + 1];
    memset(payload, ' ', MESSAGE_PAYLOAD_MAX);
    memcpy(payload, "{}", 2);
    say("lentic/mill/do/test", payload);
    assert_non_null(strstr(answers, "too long"));
}

static void a_reload_keeps_what_is_still_configured(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++)
        minute("probes/a1/temp", i % 2 ? "19.5" : "19.56");
    struct site *old = site;
    site = NULL;
    expect_sound(BENCH_SITE "salts = ( { id = \"new\"; composition = \"NaHCO3\"; } );\n");
    pump_reload(&pump, site, now_is());
    site_free(old);
    seen[0] = '\0';
    minute("probes/a1/temp", "19.5");
    minute("probes/a1/temp", "19.56");
    assert_false(did("temp-low raise")); /* it stands, it is not told again */
    say("lentic/mill/do/ack", "{\"id\":\"tank/a1/temp-low\"}");
    assert_non_null(strstr(answers, "\"ok\":true"));
}

static void the_service_tells_about_itself(void **state)
{
    (void)state;
    pump_service(&pump, KIND_STORE_FAILING, true, "disk full", now_is());
    ms += 2 * MS_PER_MIN;
    pump_advance(&pump, now_is());
    assert_true(did("60000 lentic/store-failing raise"));
}

static void what_expired_in_the_ring_or_is_switched_off_is_refused(void **state)
{
    (void)state;
    static const char request[] = "{\"id\":\"tank/a1/temp-low\",\"minutes\":10}";
    struct message m = { .topic = "lentic/mill/do/shelve",
                         .topic_len = 21,
                         .payload = request,
                         .payload_len = sizeof request - 1,
                         .now = now_is(),
                         .expired = true };
    pump_message(&pump, &m);
    assert_non_null(strstr(answers, "\"ok\":false"));
    assert_non_null(strstr(answers, "expired"));
    m.expired = false;
    site->command_off[COMMAND_SHELVE] = true;
    pump_message(&pump, &m);
    assert_non_null(strstr(answers, "switched off in the configuration"));
    site->command_off[COMMAND_SHELVE] = false;
    pump_message(&pump, &m);
    assert_non_null(strstr(answers, "\"ok\":true"));
    assert_int_equal(pump.counts.commands_refused, 2);
}

#define ON_BENCH(test) cmocka_unit_test_setup_teardown(test, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_BENCH(a_message_becomes_a_reading),
        ON_BENCH(temperature_of_a_document_goes_first),
        ON_BENCH(retained_counts_for_nothing),
        ON_BENCH(timers_of_an_instant_come_last),
        ON_BENCH(time_runs_without_messages),
        ON_BENCH(a_message_allocates_nothing),
        ON_BENCH(commands_are_obeyed_and_answered),
        ON_BENCH(a_retained_command_is_never_obeyed),
        ON_BENCH(a_note_delivered_again_is_written_once),
        ON_BENCH(an_answer_goes_nowhere_where_the_service_speaks_or_listens),
        ON_BENCH(a_command_that_was_cut_is_refused),
        ON_BENCH(a_reload_keeps_what_is_still_configured),
        ON_BENCH(the_service_tells_about_itself),
        ON_BENCH(what_expired_in_the_ring_or_is_switched_off_is_refused),
    };
    RUN(tests);
}
