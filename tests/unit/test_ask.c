/* What a keeper's word means, and the request that is made of it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/ask.h"
#include "small_room.h"

static struct small_room room;

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    site_derive_streams(&room.site);
    site_derive_alerts(&room.site);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    site_fini(&room.site);
    return 0;
}

static void expect(const char *word, const char *place, const char *alert)
{
    int p = -1, a = -1;
    struct why why = { "" };
    assert_int_equal(ask_target(&room.site, word, &p, &a, &why), STATUS_OK);
    assert_string_equal(room.site.places[p].text, place);
    if (alert == NULL)
        assert_int_equal(a, -1);
    else
        assert_string_equal(room.site.alerts[a].ref, alert);
}

static void short_and_full_names(void **state)
{
    (void)state;
    expect("a1", "tank/a1", NULL);
    expect("tank/a1", "tank/a1", NULL);
    expect("room", "room", NULL);
    expect("source/ro", "source/ro", NULL);
    expect("a1/temp-low", "tank/a1", "tank/a1/temp-low");
    expect("tank/b1/temp-high", "tank/b1", "tank/b1/temp-high");
}

static void a_slip_is_told_with_the_nearest(void **state)
{
    int p, a;
    struct why why = { "" };
    (void)state;
    assert_int_equal(ask_target(&room.site, "tank/a1/temp-lwo", &p, &a, &why), STATUS_INVALID);
    assert_non_null(strstr(why.text, "did you mean \"tank/a1/temp-low\"?"));
    assert_int_equal(ask_target(&room.site, "zzzzzzzzzzzz", &p, &a, &why), STATUS_INVALID);
    assert_non_null(strstr(why.text, "there is no alert or place \"zzzzzzzzzzzz\""));
    assert_int_equal(ask_target(&room.site, "", &p, &a, &why), STATUS_INVALID);
}

static void requests(void **state)
{
    char buf[512];
    struct text out = text_over(buf, sizeof buf);
    int alert = site_alert_find(&room.site, "tank/a1/temp-low", 16);
    (void)state;
    ask_format(&room.site, &(struct ask_request){ 1, alert, 90.5, NULL, "mara", "a \"test\"" }, &out);
    assert_string_equal(buf, "{\"id\":\"tank/a1/temp-low\",\"minutes\":90.5,\"who\":\"mara\","
                             "\"why\":\"a \\\"test\\\"\"}");
    text_clear(&out);
    ask_format(&room.site, &(struct ask_request){ 1, -1, 0, "change", NULL, NULL }, &out);
    assert_string_equal(buf, "{\"place\":\"tank/a1\",\"minutes\":0,\"what\":\"change\"}");
    text_clear(&out);
    ask_format(&room.site, &(struct ask_request){ -1, -1, NAN, NULL, NULL, NULL }, &out);
    assert_string_equal(buf, "{}");
}

static void who_asks(void **state)
{
    (void)state;
    setenv("LOGNAME", "night-shift", 1);
    assert_string_equal(ask_who(NULL), "night-shift");
    assert_string_equal(ask_who("mara"), "mara");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(short_and_full_names, setup, teardown),
        cmocka_unit_test_setup_teardown(a_slip_is_told_with_the_nearest, setup, teardown),
        cmocka_unit_test_setup_teardown(requests, setup, teardown),
        cmocka_unit_test(who_asks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
