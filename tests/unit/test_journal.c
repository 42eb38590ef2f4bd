#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "model/journal.h"

static void names_and_other_words(void **state)
{
    (void)state;
    for (int k = 0; k < JOURNAL_KIND_COUNT; k++) {
        const char *name = journal_kind_name((enum journal_kind)k);
        assert_int_equal(journal_kind_find(name, strlen(name)), k);
    }
    for (int h = 0; h < HEADS_COUNT; h++) {
        const char *name = journal_head_name((enum journal_head)h);
        assert_int_equal(journal_head_find(name, strlen(name)), h);
    }
    for (int r = 0; r < JOURNAL_ROLE_COUNT; r++) {
        const char *name = journal_role_name((enum journal_role)r);
        assert_int_equal(journal_role_find(name, strlen(name)), r);
    }
    assert_int_equal(journal_kind_find("livestock", 9), JOURNAL_ANIMALS);
    assert_int_equal(journal_kind_find("water-change", 12), JOURNAL_CHANGE);
    assert_int_equal(journal_head_find("deaths", 6), HEADS_DEAD);
    assert_int_equal(journal_kind_find("testes", 6), JOURNAL_KIND_COUNT);
    assert_int_equal(journal_kind_find("tes", 3), JOURNAL_KIND_COUNT);
    assert_int_equal(journal_head_find("", 0), HEADS_COUNT);
}

static void figures_are_kept_by_role_and_name(void **state)
{
    struct journal_entry e;
    (void)state;
    journal_clear(&e);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ec", 260, 5), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_SALT, "epsom", 4.5, NAN), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ec", 262, 6), STATUS_OK);
    assert_int_equal(e.item_count, 2);
    assert_true(journal_amount(&e, JOURNAL_VALUE, "ec") == 262);
    assert_true(journal_item(&e, JOURNAL_VALUE, "ec")->sd == 6);
    assert_null(journal_item(&e, JOURNAL_SALT, "ec"));
    assert_true(isnan(journal_amount(&e, JOURNAL_VALUE, "gh")));
    char name[8] = "s0";
    for (int i = 2; i < JOURNAL_ITEMS_MAX; i++) {
        name[1] = (char)('a' + i);
        assert_int_equal(journal_put(&e, JOURNAL_SALT, name, i, NAN), STATUS_OK);
    }
    assert_int_equal(journal_put(&e, JOURNAL_SALT, "one-more", 1, NAN), STATUS_FULL);
    assert_int_equal(journal_put(&e, JOURNAL_SALT, "epsom", 5, NAN), STATUS_OK);
    assert_true(journal_amount(&e, JOURNAL_SALT, "epsom") == 5);
}

static void what_counts(void **state)
{
    struct journal_entry e;
    (void)state;
    journal_clear(&e);
    assert_true(journal_counts(&e));
    e.superseded_by = 7;
    assert_false(journal_counts(&e));
    journal_clear(&e);
    e.withdrawn = (utc_t){ 0 };
    assert_false(journal_counts(&e));
}

static void in_words(void **state)
{
    struct journal_entry e;
    char buf[256];
    struct text out = text_over(buf, sizeof buf);
    (void)state;
    journal_clear(&e);
    e.kind = JOURNAL_TEST;
    strcpy(e.kit, "drops-1");
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", 6, 0.5), STATUS_OK);
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "ph", 7.2, 0.2), STATUS_OK);
    strcpy(e.text, "in a hurry");
    journal_words(&e, &out);
    assert_string_equal(buf, "test gh 6 °dH, ph 7.2, kit drops-1: in a hurry");
    journal_clear(&e);
    out = text_over(buf, sizeof buf);
    e.kind = JOURNAL_CHANGE;
    e.litres = 6.5;
    e.batch = 12;
    strcpy(e.water, "soft");
    journal_words(&e, &out);
    assert_string_equal(buf, "change 6.5 L, with water soft, batch 12");
    journal_clear(&e);
    out = text_over(buf, sizeof buf);
    e.kind = JOURNAL_ANIMALS;
    strcpy(e.other, "b2");
    assert_int_equal(journal_put(&e, JOURNAL_HEAD, "out", 5, NAN), STATUS_OK);
    journal_words(&e, &out);
    assert_string_equal(buf, "animals out 5, to b2");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_and_other_words),
        cmocka_unit_test(figures_are_kept_by_role_and_name),
        cmocka_unit_test(what_counts),
        cmocka_unit_test(in_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
