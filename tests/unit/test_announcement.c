#include "model/announcement.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static struct place places[] = { { PLACE_TANK, "a1", "tank/a1", "The \"B\" tank\\", 0 } };
static struct tank tank = { .id = "a1", .name = "The \"B\" tank\\", .place = 0 };
static int first_stream[Q_COUNT];
static struct alert_slot slots[] = {
    { .kind = KIND_LOW, .quantity = Q_TEMP, .place = 0, .name = "temp-low", .ref = "tank/a1/temp-low" }
};
static struct site site = { .id = "mill",
                            .name = "Millrace",
                            .publish = { .base = "lentic/mill" },
                            .places = places,
                            .place_count = 1,
                            .tanks = &tank,
                            .tank_count = 1,
                            .first_stream = first_stream,
                            .alerts = slots,
                            .alert_count = 1 };
static char topic[ANNOUNCEMENT_TOPIC_MAX], payload[ANNOUNCEMENT_PAYLOAD_MAX];

static int set_up(void **state)
{
    (void)state;
    for (int q = 0; q < Q_COUNT; q++) {
        first_stream[q] = q == Q_TEMP || q == Q_EC ? q : -1;
        tank.band[q] = (struct span){ NAN, NAN };
    }
    tank.band[Q_TEMP].lo = 20;
    return 0;
}

static void expand(struct announcement a, int thing)
{
    struct text t = text_over(topic, sizeof topic), p = text_over(payload, sizeof payload);
    assert_true(announcement_topic(&site, &a, thing, &t));
    announcement_payload(&site, &a, thing, &p);
}

static void json_is_escaped_and_plain_text_is_not(void **state)
{
    (void)state;
    struct announcement a = { .scope = ANNOUNCE_TANK,
                              .topic = "hub/${site.id}/${tank.id}",
                              .payload = "{\"n\":\"${tank.name}\",\"t\":\"${tank.topic}\"}",
                              .quantity = Q_COUNT };
    expand(a, 0);
    assert_string_equal(topic, "hub/mill/a1");
    assert_string_equal(payload, "{\"n\":\"The \\\"B\\\" tank\\\\\",\"t\":\"lentic/mill/tank/a1\"}");
    a.payload = "${tank.name} costs $$5 or $6 {{ value }}";
    expand(a, 0);
    assert_string_equal(payload, "The \"B\" tank\\ costs $5 or $6 {{ value }}");
}

static void one_for_each_measured_quantity(void **state)
{
    (void)state;
    struct announcement a = { .scope = ANNOUNCE_QUANTITY,
                              .topic = "hub/${tank.id}/${quantity}",
                              .payload = "[${low},${high},${decimals},\"${unit}\"]",
                              .quantity = Q_COUNT };
    assert_int_equal(announcement_things(&site, &a), 2);
    expand(a, 0);
    assert_string_equal(topic, "hub/a1/temp");
    assert_string_equal(payload, "[20.00,null,2,\"°C\"]");
    a.quantity = Q_EC;
    assert_int_equal(announcement_things(&site, &a), 1);
    expand(a, 0);
    assert_string_equal(topic, "hub/a1/ec");
}

static void one_for_each_alert(void **state)
{
    (void)state;
    struct announcement a = { .scope = ANNOUNCE_ALERT,
                              .topic = "hub/${alert.key}",
                              .payload = "${alert.title} at ${place}: ${alert.topic}",
                              .quantity = Q_COUNT };
    expand(a, 0);
    assert_string_equal(topic, "hub/tank-a1-temp-low");
    assert_string_equal(payload, "temperature below the band at tank/a1: lentic/mill/alert/tank/a1/temp-low");
}

static void refuses(enum status st, const struct why *why, const char *words)
{
    assert_int_equal(st, STATUS_INVALID);
    assert_non_null(strstr(why->text, words));
}

static void faults_are_told_with_the_nearest_name(void **state)
{
    (void)state;
    struct why why;
    refuses(announcement_check_payload(ANNOUNCE_TANK, "${tank.nmae}", &why), &why, "${tank.name}?");
    refuses(announcement_check_payload(ANNOUNCE_TANK, "${quantity}", &why), &why, "not known there");
    refuses(announcement_check_payload(ANNOUNCE_TANK, "x${tank.id", &why), &why, "no }");
    refuses(announcement_check_topic(ANNOUNCE_TANK, "x/${tank.name}", &why), &why, "not known there");
    refuses(announcement_check_topic(ANNOUNCE_TANK, "x/+", &why), &why, "without");
    refuses(announcement_check_topic(ANNOUNCE_TANK, "", &why), &why, "bytes");
    assert_int_equal(announcement_check_topic(ANNOUNCE_ALERT, "x/${alert.key}", &why), STATUS_OK);
    assert_int_equal(announcement_check_payload(ANNOUNCE_QUANTITY, "$ $${ ${title} {{x}}", &why), STATUS_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(json_is_escaped_and_plain_text_is_not, set_up),
        cmocka_unit_test_setup(one_for_each_measured_quantity, set_up),
        cmocka_unit_test_setup(one_for_each_alert, set_up),
        cmocka_unit_test_setup(faults_are_told_with_the_nearest_name, set_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
