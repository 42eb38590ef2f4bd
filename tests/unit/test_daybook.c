/* The room of a diary fits its site, and begins empty. */
#include "config_text.h"

#include <math.h>

#include "app/daybook.h"

static void it_begins_empty(void **state)
{
    (void)state;
    struct diary diary;
    expect_sound(SITE TANK "sources = ( { id = \"ro\"; }, { id = \"tap\"; kind = \"tap\"; } );\n"
                           "stores = ( { id = \"drum\"; } );\nwaters = ( { id = \"w\"; } );\n");
    assert_true(daybook_make(&diary, site, (utc_t){ 5 }));
    assert_ptr_equal(diary.site, site);
    assert_int_equal(diary.now.ms, 5);
    assert_false(utc_is_set(diary.tanks[0].changed));
    assert_int_equal(diary.waters[0].batch, 0);
    for (int i = 0; i < 2; i++) {
        assert_int_equal(diary.sources[i].live.ec.origin, ORIGIN_NONE);
        assert_int_equal(diary.sources[i].tests[Q_GH].origin, ORIGIN_NONE);
        assert_false(utc_is_set(diary.sources[i].renewed));
    }
    assert_true(isnan(diary.stores[0].level_mm));
    /* What probes said outlives another reading of the journal. */
    diary.stores[0].level_mm = 12;
    diary.sources[0].live.ec.origin = ORIGIN_PROBE;
    diary_init(&diary);
    assert_true(diary.stores[0].level_mm == 12);
    assert_int_equal(diary.sources[0].live.ec.origin, ORIGIN_PROBE);
    daybook_free(&diary);
    assert_null(diary.tanks);
    daybook_free(&diary);
}

static void a_site_without_any(void **state)
{
    (void)state;
    struct diary diary;
    expect_sound(SITE TANK);
    assert_true(daybook_make(&diary, site, UTC_NONE));
    daybook_free(&diary);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(it_begins_empty),
                                        cmocka_unit_test(a_site_without_any) };
    RUN(tests);
}
