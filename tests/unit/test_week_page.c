/* The page as a keeper reads it. */
#include "week_shown.h"

static const char *page(void)
{
    struct week_page p = page_of();
    struct text out = text_over(buf, sizeof buf);
    week_page_put(&p, &out);
    assert_false(out.cut);
    return buf;
}

static void the_page(void **state)
{
    (void)state;
    static const char want[] =
        "Millrace: day +0 to day +6\n"
        "\n"
        "Water changes, with the step that each makes\n"
        "  when        tank  litres  water      EC      GH      KH      °C  why\n"
        "  today       a2       4.0  soft       -1       –       –    -0.2  calendar: every 7 days, the "
        "last\n"
        "                                                                   was 6 days before\n"
        "  day +1      a1       4.0  soft       -1       –       –    -0.2  calendar: every 7 days, the "
        "last\n"
        "                                                                   was 7 days before\n"
        "\n"
        "To prepare, until then\n"
        "  today       8.0 L of soft water for 2 tanks: weigh 0.80 g of ready mix; expect EC 200 (give or\n"
        "              take 12), GH 4.0, KH 0.0\n"
        "\n"
        "Source water\n"
        "  ro          8.0 L: 8.0 to mix, 0.0 to top off; it gives 150 L in these days, enough. Its water:\n"
        "              9.1 µS/cm; steady\n"
        "\n"
        "Salts\n"
        "  mix         0.80 g of ready mix; 20 g there, used up about day +5\n"
        "\n"
        "To test by hand (lentic note TANK gh=5)\n"
        "  today       general hardness (gh) in a1 a2: never noted\n"
        "\n"
        "To know\n"
        "  a1 a2: no value of general hardness: assumed (--why tells what)\n"
        "  a1 a2: no level probe\n";
    assert_string_equal(page(), want);
}

static void what_is_short_is_loud(void **state)
{
    (void)state;
    room.salts[0].short_now = true;
    room.sources[0].short_l = 3.4;
    room.sources[0].short_at = (utc_t){ SUNDAY + DAYS(2) };
    room.sources[0].unknown_topoffs = 2;
    weeks[0].later = 3;
    weeks[0].stages[0].brought = true;
    weeks[0].topoff_l_day = 0.5;
    weeks[0].reservoir_l = 5;
    weeks[0].reservoir_lasts_d = 10;
    weeks[0].reservoir_filled = (utc_t){ SUNDAY - DAYS(11) };
    weeks[0].reservoir_empty = (utc_t){ SUNDAY - DAYS(1) };
    const char *s = page();
    assert_non_null(strstr(s, "NOT ENOUGH for these days: buy now"));
    assert_non_null(strstr(s, "SHORT of 3.4 L, first day +2"));
    assert_non_null(strstr(s, "(not known for 2 tanks)"));
    assert_non_null(strstr(s, "a1: 3 more stages after these days"));
    assert_non_null(strstr(s, "look\n"));
    assert_non_null(strstr(s, "bring the"));
    assert_non_null(strstr(s, "filled day -11:"));
}

static void nothing_to_do(void **state)
{
    (void)state;
    memset(&room.waters, 0, sizeof room.waters);
    room.water_count = room.salt_count = room.source_count = 0;
    for (int i = 0; i < 2; i++)
        weeks[i].stage_count = weeks[i].test_count = weeks[i].remark_count = 0;
    assert_string_equal(page(), "Millrace: day +0 to day +6\n\nNo water change is due in these days.\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(the_page, fill),
        cmocka_unit_test_setup(what_is_short_is_loud, fill),
        cmocka_unit_test_setup(nothing_to_do, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
