#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <math.h>
#include "base/pack.h"

struct sheet {
    double value, unknown;
    int64_t big;
    int32_t small;
    uint32_t count;
    uint64_t total;
    bool on;
    char name[12];
    utc_t t, never;
    mono_t due, none, far;
};

static const struct now then = { { INT64_C(1772366400000) }, { 5000 }, true };

static void visit(struct pack *p, struct sheet *s, struct now now)
{
    pack_f64(p, &s->value, -30, 60);
    pack_f64(p, &s->unknown, 0, 1);
    pack_i64(p, &s->big, INT64_MIN, INT64_MAX);
    pack_i32(p, &s->small, -5, 5);
    pack_u32(p, &s->count);
    pack_u64(p, &s->total);
    pack_bool(p, &s->on);
    pack_text(p, s->name, sizeof s->name);
    pack_utc(p, &s->t);
    pack_utc(p, &s->never);
    pack_mono(p, &s->due, now);
    pack_mono(p, &s->none, now);
    pack_mono(p, &s->far, now);
}

static const struct sheet filled = { 24.625,
                                     NAN,
                                     INT64_MIN,
                                     -5,
                                     4000000000u,
                                     UINT64_MAX,
                                     true,
                                     "tank/a1",
                                     { INT64_C(1772366400123) },
                                     { INT64_MIN },
                                     { 65000 },
                                     { INT64_MIN },
                                     { INT64_MAX } };

static size_t written(uint8_t *bytes, size_t cap, const char *name)
{
    struct pack p = pack_writer(bytes, cap);
    struct sheet s = filled;
    size_t mark = pack_begin(&p, name);
    visit(&p, &s, then);
    pack_end(&p, mark);
    assert_false(p.bad);
    return p.at;
}

static void comes_back_as_it_was(void **state)
{
    (void)state;
    uint8_t bytes[256];
    struct pack p = pack_reader(bytes, written(bytes, sizeof bytes, "gate/probes/a1/temp"));
    struct pack section;
    char name[PACK_NAME_MAX];
    struct sheet s;
    memset(&s, 0, sizeof s);
    assert_true(pack_next(&p, name, &section, NULL));
    assert_string_equal(name, "gate/probes/a1/temp");
    visit(&section, &s, then);
    assert_false(section.bad);
    assert_int_equal(section.at, section.cap);
    assert_true(s.value == filled.value);
    assert_true(isnan(s.unknown));
    assert_true(s.big == filled.big && s.small == -5 && s.count == 4000000000u && s.total == UINT64_MAX &&
                s.on);
    assert_string_equal(s.name, "tank/a1");
    assert_true(s.t.ms == filled.t.ms && s.never.ms == INT64_MIN);
    assert_true(s.due.ms == 65000 && s.none.ms == INT64_MIN && s.far.ms == INT64_MAX);
    assert_false(pack_next(&p, name, &section, NULL));
}

static void boot_clock_of_the_next_run(void **state)
{
    (void)state;
    uint8_t bytes[256];
    struct pack p = pack_reader(bytes, written(bytes, sizeof bytes, "x"));
    struct pack section;
    char name[PACK_NAME_MAX];
    struct sheet s;
    memset(&s, 0, sizeof s);
    assert_true(pack_next(&p, name, &section, NULL));
    /* 20 s later by the wall, with a boot clock that has just begun: 60 s were left, 40 s are. */
    visit(&section, &s, (struct now){ { then.utc.ms + 20000 }, { 100 }, true });
    assert_int_equal(s.due.ms, 100 + 40000);
    assert_true(s.none.ms == INT64_MIN && s.far.ms == INT64_MAX);
}

static void out_of_range_fails_the_section_and_stays_out(void **state)
{
    (void)state;
    uint8_t bytes[64];
    struct pack w = pack_writer(bytes, sizeof bytes);
    double v = 61;
    int64_t big = 7;
    pack_f64(&w, &v, -30, 60);
    pack_i64(&w, &big, 0, 5);
    assert_false(w.bad);
    struct pack r = pack_reader(bytes, w.at);
    double got = 1;
    int64_t next = 2;
    pack_f64(&r, &got, -30, 60);
    assert_true(r.bad);
    pack_i64(&r, &next, 0, 100);
    assert_true(got == 1 && next == 2);
    r = pack_reader(bytes + 8, w.at - 8);
    pack_i64(&r, &next, 0, 5);
    assert_true(r.bad && next == 2);
}

static void fields_that_cannot_be(void **state)
{
    (void)state;
    const uint8_t two = 2;
    bool on = false;
    struct pack r = pack_reader(&two, 1);
    pack_bool(&r, &on);
    assert_true(r.bad && !on);
    const uint8_t too_long[] = { 4, 0, 0, 0, 'a', 'b', 'c', 'd' };
    char name[4] = "old";
    r = pack_reader(too_long, sizeof too_long);
    pack_text(&r, name, sizeof name);
    assert_true(r.bad);
    const uint8_t beyond[] = { 200, 0, 0, 0, 'a' };
    char wide[256] = "old";
    r = pack_reader(beyond, sizeof beyond);
    pack_text(&r, wide, sizeof wide);
    assert_true(r.bad);
    const uint8_t with_nul[] = { 2, 0, 0, 0, 'a', 0 };
    r = pack_reader(with_nul, sizeof with_nul);
    pack_text(&r, name, sizeof name);
    assert_true(r.bad);
    assert_string_equal(name, "old");
    const uint8_t far[8] = { 0, 0, 0, 0, 0, 0, 0, 0x10 };
    utc_t t = { 5 };
    r = pack_reader(far, sizeof far);
    pack_utc(&r, &t);
    assert_true(r.bad && t.ms == 5);
    const uint8_t infinite[8] = { 0, 0, 0, 0, 0, 0, 0xF0, 0x7F };
    double v = 3;
    r = pack_reader(infinite, sizeof infinite);
    pack_f64(&r, &v, -1e300, 1e300);
    assert_true(r.bad && v == 3);
}

static void counts_take_as_many_bytes_as_they_need(void **state)
{
    static const struct {
        int32_t v;
        size_t bytes;
    } cases[] = { { 0, 1 }, { 1, 1 }, { 127, 1 }, { 128, 2 }, { 16383, 2 }, { 16384, 3 }, { INT32_MAX, 5 } };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        uint8_t bytes[8];
        int32_t v = cases[i].v, back = -1;
        struct pack w = pack_writer(bytes, sizeof bytes);
        pack_count(&w, &v, 0, INT32_MAX);
        assert_int_equal(w.at, cases[i].bytes);
        struct pack r = pack_reader(bytes, w.at);
        pack_count(&r, &back, 0, INT32_MAX);
        assert_true(!r.bad && back == cases[i].v && r.at == w.at);
        r = pack_reader(bytes, w.at - 1);
        pack_count(&r, &back, 0, INT32_MAX);
        assert_true(r.bad);
        r = pack_reader(bytes, w.at);
        pack_count(&r, &back, 2, 126);
        assert_true(r.bad);
    }
    uint8_t endless[] = { 0x81, 0x80, 0x80, 0x80, 0x80, 0x00 }, beyond[] = { 0xff, 0xff, 0xff, 0xff, 0x7f };
    int32_t back = 7;
    struct pack r = pack_reader(endless, sizeof endless);
    pack_count(&r, &back, 0, INT32_MAX);
    assert_true(r.bad);
    r = pack_reader(beyond, sizeof beyond);
    pack_count(&r, &back, 0, INT32_MAX);
    assert_true(r.bad && back == 7);
}

static void short_numbers_keep_their_range(void **state)
{
    static const float numbers[] = { 0, -1.5F, 24.31F, 1e12F, NAN };
    (void)state;
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        uint8_t bytes[4];
        float v = numbers[i], back = 1;
        struct pack w = pack_writer(bytes, sizeof bytes);
        pack_f32(&w, &v, -1e12F, 1e12F);
        struct pack r = pack_reader(bytes, w.at);
        pack_f32(&r, &back, -1e12F, 1e12F);
        assert_true(!r.bad && w.at == 4 && memcmp(&back, &v, sizeof v) == 0);
        r = pack_reader(bytes, w.at);
        pack_f32(&r, &back, 2, 3);
        assert_int_equal(r.bad, !isnan(numbers[i]));
    }
}

static void too_small_is_seen(void **state)
{
    (void)state;
    uint8_t full[256], bytes[256];
    size_t need = written(full, sizeof full, "x");
    for (size_t cap = 0; cap < need; cap++) {
        memset(bytes, 0xEE, sizeof bytes);
        struct pack p = pack_writer(bytes, cap);
        struct sheet s = filled;
        size_t mark = pack_begin(&p, "x");
        visit(&p, &s, then);
        pack_end(&p, mark);
        assert_true(p.bad);
        assert_int_equal(bytes[cap], 0xEE);
    }
}

static void damage_is_stepped_over(void **state)
{
    (void)state;
    uint8_t bytes[1024];
    size_t one = written(bytes, sizeof bytes, "one");
    size_t two = one + written(bytes + one, sizeof bytes - one, "two");
    size_t all = two + written(bytes + two, sizeof bytes - two, "three");
    for (size_t bit = 8 * one; bit < 8 * two; bit++) {
        bytes[bit / 8] ^= (uint8_t)(1u << bit % 8);
        struct pack p = pack_reader(bytes, all);
        struct pack section;
        char name[PACK_NAME_MAX];
        unsigned damaged = 0;
        assert_true(pack_next(&p, name, &section, &damaged));
        assert_string_equal(name, "one");
        assert_true(pack_next(&p, name, &section, &damaged));
        assert_string_equal(name, "three");
        assert_false(pack_next(&p, name, &section, &damaged));
        assert_int_equal(damaged, 1);
        bytes[bit / 8] ^= (uint8_t)(1u << bit % 8);
    }
}

static void cut_short_anywhere(void **state)
{
    (void)state;
    uint8_t bytes[256];
    size_t n = written(bytes, sizeof bytes, "x");
    for (size_t len = 0; len < n; len++) {
        uint8_t *copy = malloc(len + 1);
        memcpy(copy, bytes, len);
        struct pack p = pack_reader(copy, len);
        struct pack section;
        char name[PACK_NAME_MAX];
        assert_false(pack_next(&p, name, &section, NULL));
        free(copy);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(comes_back_as_it_was),
        cmocka_unit_test(boot_clock_of_the_next_run),
        cmocka_unit_test(out_of_range_fails_the_section_and_stays_out),
        cmocka_unit_test(fields_that_cannot_be),
        cmocka_unit_test(counts_take_as_many_bytes_as_they_need),
        cmocka_unit_test(short_numbers_keep_their_range),
        cmocka_unit_test(too_small_is_seen),
        cmocka_unit_test(damage_is_stepped_over),
        cmocka_unit_test(cut_short_anywhere),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
