/* What to know: cautions first, what is alike once, of the room only what no tank has said. */
#include "show/week_know.h"
#include "week_shown.h"

static void know(void)
{
    struct week_page p = page_of();
    struct text out = text_over(buf, sizeof buf);
    week_know_put(&p, &out);
    assert_false(out.cut);
}

static int times(const char *piece)
{
    int n = 0;
    for (const char *at = buf; (at = strstr(at, piece)) != NULL; at++)
        n++;
    return n;
}

static void alike_is_said_once(void **state)
{
    (void)state;
    know();
    assert_string_equal(buf, "\nTo know\n"
                             "  a1 a2: no value of general hardness: assumed (--why tells what)\n"
                             "  a1 a2: no level probe\n");
}

static void cautions_first(void **state)
{
    (void)state;
    week_remark(room.remarks, &room.remark_count, WEEK_CAUTION, "tap: it may carry chlorine");
    week_remark(room.remarks, &room.remark_count, WEEK_MISSING, "no source is named");
    know();
    assert_true(strstr(buf, "chlorine") < strstr(buf, "hardness"));
    assert_true(strstr(buf, "no source") > strstr(buf, "hardness"));
    week_remark(weeks[1].remarks, &weeks[1].remark_count, WEEK_CAUTION, "tap: it may carry chlorine");
    know();
    has("a2: tap: it may carry chlorine");
    assert_int_equal(times("chlorine"), 1);
}

static void probes_that_nobody_calibrated(void **state)
{
    (void)state;
    room.never_calibrated = 1;
    know();
    has("1 probe was never calibrated here");
    room.never_calibrated = 4;
    know();
    has("4 probes were never calibrated here");
}

static void nothing_to_know(void **state)
{
    (void)state;
    weeks[0].remark_count = weeks[1].remark_count = 0;
    know();
    assert_string_equal(buf, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(alike_is_said_once, fill),
        cmocka_unit_test_setup(cautions_first, fill),
        cmocka_unit_test_setup(probes_that_nobody_calibrated, fill),
        cmocka_unit_test_setup(nothing_to_know, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
