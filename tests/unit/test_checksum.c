#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "base/checksum.h"

/* Check values of the published catalogues: CRC-32/ISO-HDLC and FNV-1a 64. */
static void published_values(void **state)
{
    (void)state;
    assert_int_equal(checksum_crc32(0, "123456789", 9), 0xCBF43926);
    assert_int_equal(checksum_crc32(0, "", 0), 0);
    assert_int_equal(checksum_crc32(0, "\0", 1), 0xD202EF8D);
    assert_true(checksum_fnv("", 0) == UINT64_C(0xCBF29CE484222325));
    assert_true(checksum_fnv("a", 1) == UINT64_C(0xAF63DC4C8601EC8C));
    assert_true(checksum_fnv("foobar", 6) == UINT64_C(0x85944171F73967E8));
}

static void goes_on_from_the_last_result(void **state)
{
    (void)state;
    const char *text = "probes/a1/temp 24.6";
    size_t n = strlen(text);
    uint32_t whole = checksum_crc32(0, text, n);
    for (size_t cut = 0; cut <= n; cut++)
        assert_int_equal(checksum_crc32(checksum_crc32(0, text, cut), text + cut, n - cut), whole);
}

static void every_flipped_bit_is_seen(void **state)
{
    (void)state;
    unsigned char bytes[32] = { 1, 2, 3 };
    uint32_t sound = checksum_crc32(0, bytes, sizeof bytes);
    for (size_t bit = 0; bit < 8 * sizeof bytes; bit++) {
        bytes[bit / 8] ^= (unsigned char)(1u << bit % 8);
        assert_int_not_equal(checksum_crc32(0, bytes, sizeof bytes), sound);
        bytes[bit / 8] ^= (unsigned char)(1u << bit % 8);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_values),
        cmocka_unit_test(goes_on_from_the_last_result),
        cmocka_unit_test(every_flipped_bit_is_seen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
