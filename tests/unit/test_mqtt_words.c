#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "adapters/mqtt_words.h"

static void every_code_has_words(void **state)
{
    (void)state;
    for (int code = -300; code < 300; code++)
        assert_true(strlen(mqtt_words_of(code)) > 10);
}

static void refused_credentials_are_told_alike_in_both_versions(void **state)
{
    (void)state;
    assert_non_null(strstr(mqtt_words_of(4), "password"));
    assert_string_equal(mqtt_words_of(4), mqtt_words_of(0x86));
    assert_string_equal(mqtt_words_of(5), mqtt_words_of(0x87));
    assert_non_null(strstr(mqtt_words_of(MQTT_CODE_TAKEN_OVER), "client id"));
    assert_non_null(strstr(mqtt_words_of(0x84), "mqtt_version"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_code_has_words),
        cmocka_unit_test(refused_credentials_are_told_alike_in_both_versions),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
