#include "config_text.h"

#include "config/fault.h"

static void sorts_by_file_as_first_named_and_line(void **state)
{
    (void)state;
    fault_init(&faults, "main.conf");
    fault_at(&faults, "z.conf", 2, "one");
    fault_at(&faults, NULL, 9, "two");
    fault_at(&faults, "a.conf", 1, "three");
    fault_at(&faults, "main.conf", 3, "four %d", 4);
    fault_at(&faults, "z.conf", 2, "five");
    fault_sort(&faults);
    static const char *const order[] = { "four 4", "two", "one", "five", "three" };
    assert_int_equal(faults.count, 5);
    for (int i = 0; i < 5; i++)
        assert_string_equal(faults.items[i].text, order[i]);
    assert_string_equal(faults.items[1].file, "main.conf");
    assert_string_equal(faults.items[4].file, "a.conf");
}

static void names_and_texts_beyond_the_room_are_cut(void **state)
{
    (void)state;
    char name[300], text[600];
    memset(text, 'x', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    fault_init(&faults, "main.conf");
    for (int i = 0; i < 20; i++) {
        (void)snprintf(name, sizeof name, "%d%.*s", i, 250, text);
        fault_at(&faults, name, i, "%s", text);
    }
    assert_int_equal(faults.count, 20);
    assert_int_equal(strlen(faults.items[0].text), sizeof faults.items[0].text - 1);
    assert_string_equal(faults.items[19].file, "main.conf");
    assert_true(faults.items[0].file != faults.items[1].file);
}

static void what_is_beyond_the_array_is_counted(void **state)
{
    (void)state;
    fault_init(&faults, "main.conf");
    for (int i = 0; i < CONFIG_FAULTS_MAX + 7; i++)
        fault_at(&faults, NULL, 1, "x");
    assert_int_equal(faults.count, CONFIG_FAULTS_MAX);
    assert_int_equal(faults.errors, CONFIG_FAULTS_MAX + 7);
    assert_int_equal(faults.warnings, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sorts_by_file_as_first_named_and_line),
        cmocka_unit_test(names_and_texts_beyond_the_room_are_cut),
        cmocka_unit_test(what_is_beyond_the_array_is_counted),
    };
    RUN(tests);
}
