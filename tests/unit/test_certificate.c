#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "adapters/certificate.h"

/* The least that has the shape: version, serial, algorithm, issuer, validity. */
static size_t certificate_with(uint8_t *der, uint8_t tag, const char *begin, const char *end)
{
    uint8_t fields[128];
    size_t n = 0, times = 0;
    static const uint8_t head[] = { 0xA0, 3, 2, 1, 2, 0x02, 1, 7, 0x30, 0, 0x30, 0 };
    memcpy(fields, head, sizeof head);
    n = sizeof head;
    fields[n++] = 0x30;
    times = n++;
    const char *both[] = { begin, end };
    for (int i = 0; i < 2; i++) {
        fields[n++] = tag;
        fields[n++] = (uint8_t)strlen(both[i]);
        memcpy(fields + n, both[i], strlen(both[i]));
        n += strlen(both[i]);
    }
    fields[times] = (uint8_t)(n - times - 1);
    uint8_t outer[] = { 0x30, 0x81, (uint8_t)(n + 2), 0x30, (uint8_t)n };
    memcpy(der, outer, sizeof outer);
    memcpy(der + sizeof outer, fields, n);
    return sizeof outer + n;
}

static void both_forms_of_time_are_read(void **state)
{
    (void)state;
    uint8_t der[256];
    char text[UTC_TEXT_MAX];
    size_t n = certificate_with(der, 0x17, "250101000000Z", "260301120000Z");
    assert_string_equal(utc_format(certificate_der_ends(der, n), text, sizeof text),
                        "2026-03-01T12:00:00.000Z");
    n = certificate_with(der, 0x18, "20250101000000Z", "20510301120000Z");
    assert_string_equal(utc_format(certificate_der_ends(der, n), text, sizeof text),
                        "2051-03-01T12:00:00.000Z");
    n = certificate_with(der, 0x17, "250101000000Z", "261301120000Z");
    assert_false(utc_is_set(certificate_der_ends(der, n)));
}

static void cut_or_changed_bytes_are_harmless(void **state)
{
    (void)state;
    uint8_t der[256], part[256];
    size_t n = certificate_with(der, 0x17, "250101000000Z", "260301120000Z");
    for (size_t cut = 0; cut < n; cut++) {
        uint8_t *exact = malloc(cut + 1);
        memcpy(exact, der, cut);
        assert_false(utc_is_set(certificate_der_ends(exact, cut)));
        free(exact);
    }
    for (size_t at = 0; at < n; at++)
        for (unsigned v = 0; v < 256; v++) {
            memcpy(part, der, n);
            part[at] = (uint8_t)v;
            certificate_der_ends(part, n);
        }
}

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    fputs(text, f);
    fclose(f);
}

static void encode(const uint8_t *bytes, size_t n, char *out)
{
    static const char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < n; i += 3) {
        uint32_t v = (uint32_t)bytes[i] << 16 | (i + 1 < n ? (uint32_t)bytes[i + 1] << 8 : 0) |
                     (i + 2 < n ? bytes[i + 2] : 0);
        *out++ = alphabet[v >> 18];
        *out++ = alphabet[v >> 12 & 63];
        *out++ = i + 1 < n ? alphabet[v >> 6 & 63] : '=';
        *out++ = i + 2 < n ? alphabet[v & 63] : '=';
        if (i % 48 == 45)
            *out++ = '\n';
    }
    *out = '\0';
}

static void the_first_and_the_last_end_in_a_file(void **state)
{
    (void)state;
    char path[] = "/tmp/lentic-pem-XXXXXX", text[UTC_TEXT_MAX], one[512], two[512], all[1400];
    uint8_t der[256];
    close(mkstemp(path));
    encode(der, certificate_with(der, 0x17, "250101000000Z", "300301120000Z"), one);
    encode(der, certificate_with(der, 0x17, "250101000000Z", "270301120000Z"), two);
    snprintf(all, sizeof all,
             "words before\n-----BEGIN CERTIFICATE-----\n%s\n-----END CERTIFICATE-----\n"
             "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"
             "-----BEGIN CERTIFICATE-----\n%s\n-----END CERTIFICATE-----\n-----BEGIN CERTIFICATE-----\n",
             one, two);
    put(path, all);
    assert_string_equal(utc_format(certificate_ends(path), text, sizeof text), "2027-03-01T12:00:00.000Z");
    assert_string_equal(utc_format(certificate_last_ends(path), text, sizeof text),
                        "2030-03-01T12:00:00.000Z");
    put(path, "no certificate");
    assert_false(utc_is_set(certificate_ends(path)));
    assert_false(utc_is_set(certificate_last_ends(path)));
    unlink(path);
    assert_false(utc_is_set(certificate_ends(path)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(both_forms_of_time_are_read),
        cmocka_unit_test(cut_or_changed_bytes_are_harmless),
        cmocka_unit_test(the_first_and_the_last_end_in_a_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
