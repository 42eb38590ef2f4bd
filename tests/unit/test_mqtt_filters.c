#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/files.h"
#include "adapters/mqtt_filters.h"

static void a_filter_is_there_once_with_its_latest_qos(void **state)
{
    (void)state;
    struct mqtt_filters list = { 0 };
    mqtt_filters_add(&list, "a/+", 0);
    mqtt_filters_add(&list, "b/#", 1);
    mqtt_filters_add(&list, "a/+", 1);
    assert_int_equal(list.count, 2);
    assert_int_equal(list.qos[0], 1);
    assert_true(mqtt_filters_have(&list, "b/#"));
    assert_false(mqtt_filters_have(&list, "b"));
    mqtt_filters_fini(&list);
    assert_int_equal(list.count, 0);
}

static void what_is_no_longer_wanted_is_the_difference(void **state)
{
    (void)state;
    struct mqtt_filters before = { 0 }, wanted = { 0 };
    mqtt_filters_add(&before, "a", 1);
    mqtt_filters_add(&before, "b", 1);
    mqtt_filters_add(&wanted, "b", 1);
    mqtt_filters_add(&wanted, "c", 1);
    struct mqtt_filters stale = mqtt_filters_without(&before, &wanted);
    assert_int_equal(stale.count, 1);
    assert_string_equal(stale.names[0], "a");
    mqtt_filters_add_all(&stale, &wanted);
    assert_int_equal(stale.count, 3);
    mqtt_filters_fini(&before);
    mqtt_filters_fini(&wanted);
    mqtt_filters_fini(&stale);
}

static void the_file_brings_back_only_our_own(void **state)
{
    (void)state;
    char path[] = "/tmp/lentic-filters-XXXXXX";
    close(mkstemp(path));
    struct mqtt_filters list = { 0 }, back = { 0 };
    struct why why;
    mqtt_filters_load(&back, path, "lentic");
    assert_int_equal(back.count, 0);
    mqtt_filters_add(&list, "probes/+/temp", 1);
    mqtt_filters_add(&list, "rack b/#", 0);
    assert_int_equal(mqtt_filters_save(&list, path, "lentic", &why), STATUS_OK);
    mqtt_filters_load(&back, path, "other");
    assert_int_equal(back.count, 0);
    mqtt_filters_load(&back, path, "lentic");
    assert_int_equal(back.count, 2);
    assert_string_equal(back.names[1], "rack b/#");
    unlink(path);
    mqtt_filters_load(&back, path, "lentic");
    assert_int_equal(back.count, 2);
    assert_int_equal(mqtt_filters_save(&list, "/no/such/file", "lentic", &why), STATUS_IO);
    mqtt_filters_fini(&list);
    mqtt_filters_fini(&back);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_filter_is_there_once_with_its_latest_qos),
        cmocka_unit_test(what_is_no_longer_wanted_is_the_difference),
        cmocka_unit_test(the_file_brings_back_only_our_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
