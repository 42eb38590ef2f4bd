#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "near.h"
#include "small_room.h"

#include "rehearse/voice.h"

static struct small_room room;
static struct arena arena;
static char buf[1024];

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    arena = (struct arena){ 0 };
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    arena_fini(&arena);
    return 0;
}

static struct voice_input meets(double truth)
{
    return (struct voice_input){ { .truth = truth, .temp_c = 24, .noise_gain = 1, .drift_gain = 1 }, false };
}

/* Sound probes, that neither wake nor age. */
static struct voice voice_of(int entry, int place, double least_s)
{
    struct voice v = voice_init(&room.site, &room.entries[entry], place, 1, least_s, &arena);
    v.waking = false;
    for (int i = 0; i < v.entry->value_count; i++) {
        v.sensors[i].offset = v.sensors[i].noise_sd = 0;
        v.sensors[i].gain = 1;
    }
    return v;
}

/* The next message that is not lost. */
static const char *said(struct voice *v, const struct voice_input *in, utc_t own)
{
    for (int i = 0; i < 20; i++) {
        struct text t = text_over(buf, sizeof buf);
        if (voice_speak(v, in, own, &t))
            return buf;
    }
    fail_msg("nothing said in twenty messages");
    return NULL;
}

static const utc_t moment = { INT64_C(1772366400123) }; /* 2026-03-01T12:00:00.123Z */

static void a_plain_number(void **state)
{
    (void)state;
    struct voice v = voice_of(0, 1, 0);
    struct voice_input in = meets(24.0625);
    assert_string_equal(v.topic, "probes/a1/temp");
    assert_near(v.every_s, 10, 0);
    assert_string_equal(said(&v, &in, moment), "24.0625");
}

static void nested_with_own_seconds(void **state)
{
    (void)state;
    struct voice v = voice_of(1, 1, 0);
    struct voice_input in[2] = { meets(25), meets(350) };
    in[0].sense.temp_c = in[1].sense.temp_c = 25;
    assert_string_equal(said(&v, in, moment), "{\"at\":1772366400,\"t\":{\"water\":77.0000},\"ec\":0.350}");
}

static void a_document_with_rfc_3339_and_strings(void **state)
{
    (void)state;
    struct voice v = voice_of(2, 2, 0);
    struct voice_input in[3] = { meets(24), meets(320), meets(6.6) };
    assert_string_equal(
        said(&v, in, moment),
        "{\"time\":\"2026-03-01T12:00:00.123Z\",\"temp\":24.0000,\"ec\":\"320\",\"ph\":6.60}");
    room.entries[2].time_form = TIME_FORM_MS;
    struct voice ms = voice_of(2, 2, 0);
    assert_string_equal(said(&ms, in, moment),
                        "{\"time\":1772366400123,\"temp\":24.0000,\"ec\":320,\"ph\":6.60}");
}

static void a_silent_value_is_left_out(void **state)
{
    (void)state;
    struct voice v = voice_of(2, 2, 0);
    struct voice_input in[3] = { meets(24), meets(320), meets(6.6) };
    in[1].silent = true;
    assert_null(strstr(said(&v, in, moment), "ec"));
    in[0].silent = in[2].silent = true;
    struct text t = text_over(buf, sizeof buf);
    for (int i = 0; i < 50; i++)
        assert_false(voice_speak(&v, in, moment, &t));
    assert_int_equal(t.len, 0);
}

static void codes_after_power_up(void **state)
{
    (void)state;
    struct voice v = voice_of(0, 1, 0);
    struct voice_input in = meets(24);
    v.waking = true;
    assert_string_equal(said(&v, &in, moment), "85");
    assert_string_equal(said(&v, &in, moment), "24.0000");
}

static void on_change_only(void **state)
{
    (void)state;
    room.plain.on_change = true;
    struct voice v = voice_of(0, 1, 0);
    struct voice_input in = meets(24), other = meets(25);
    assert_string_equal(said(&v, &in, moment), "24.0000");
    struct text t = text_over(buf, sizeof buf);
    assert_false(voice_speak(&v, &in, moment, &t));
    assert_string_equal(said(&v, &other, moment), "25.0000");
}

static void announced_unit_and_match(void **state)
{
    (void)state;
    room.document[0].unit_at = "/unit";
    room.document[0].unit_name = "Cel";
    room.entries[2].match_at = "/kind";
    room.entries[2].match = "tank";
    struct voice v = voice_of(2, 2, 0);
    struct voice_input in[3] = { meets(24), meets(320), meets(6.6) };
    const char *text = said(&v, in, moment);
    assert_non_null(strstr(text, "\"unit\":\"Cel\""));
    assert_non_null(strstr(text, "\"kind\":\"tank\""));
}

static void cadence_jitter_and_losses(void **state)
{
    (void)state;
    struct voice v = voice_of(0, 1, 0);
    struct voice_input in = meets(24);
    int lost = 0, n = 20000;
    double begin = v.next_s;
    assert_true(begin >= 0 && begin < 10);
    for (int i = 0; i < n; i++) {
        double before = v.next_s;
        struct text t = text_over(buf, sizeof buf);
        lost += !voice_speak(&v, &in, moment, &t);
        assert_true(v.next_s - before >= 9.5 && v.next_s - before < 10.5 + 600);
    }
    assert_true(lost > 10 && lost < 120);
    assert_near((v.next_s - begin) / n, 10, 0.3);
    assert_near(voice_of(0, 1, 60).every_s, 60, 0);
    room.plain.every_s = NAN;
    double drawn = voice_of(0, 1, 0).every_s;
    assert_true(drawn >= 5 && drawn <= 300);
}

static void wildcards_become_levels(void **state)
{
    (void)state;
    room.entries[0].topic = "shed/+/{tank}/#";
    assert_string_equal(voice_of(0, 2, 0).topic, "shed/x/b1/x");
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_plain_number),
        TEST(nested_with_own_seconds),
        TEST(a_document_with_rfc_3339_and_strings),
        TEST(a_silent_value_is_left_out),
        TEST(codes_after_power_up),
        TEST(on_change_only),
        TEST(announced_unit_and_match),
        TEST(cadence_jitter_and_losses),
        TEST(wildcards_become_levels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
