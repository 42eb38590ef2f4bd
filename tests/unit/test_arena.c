#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <stdalign.h>
#include "base/arena.h"

static void pieces_are_zeroed_aligned_and_apart(void **state)
{
    (void)state;
    struct arena a = { 0 };
    unsigned char *before = NULL;
    for (size_t size = 1; size < 3000; size = size * 2 + 1) {
        unsigned char *piece = arena_take(&a, 3, size);
        assert_int_equal((uintptr_t)piece % alignof(max_align_t), 0);
        for (size_t i = 0; i < 3 * size; i++)
            assert_int_equal(piece[i], 0);
        memset(piece, 0xAA, 3 * size);
        assert_ptr_not_equal(piece, before);
        before = piece;
    }
    assert_true(a.used >= 3 * 2047);
    arena_fini(&a);
    assert_int_equal(a.used, 0);
    assert_null(a.head);
}

static void larger_than_a_block(void **state)
{
    (void)state;
    struct arena a = { 0 };
    char *small = arena_take(&a, 1, 10);
    char *large = arena_take(&a, 1000, 1000);
    memset(large, 'x', 1000 * 1000);
    char *after = arena_take(&a, 1, 10);
    memset(after, 'y', 10);
    assert_int_equal(small[0], 0);
    assert_int_equal(large[999999], 'x');
    arena_fini(&a);
}

static void nothing_is_a_piece_too(void **state)
{
    (void)state;
    struct arena a = { 0 };
    void *one = arena_take(&a, 0, 8);
    void *two = arena_take(&a, 0, 0);
    assert_non_null(one);
    assert_non_null(two);
    assert_ptr_not_equal(one, two);
    arena_fini(&a);
    arena_fini(&a);
}

static void text_is_copied_and_terminated(void **state)
{
    (void)state;
    struct arena a = { 0 };
    char source[] = "tank/a1/temp";
    char *copy = arena_text(&a, source, 7);
    memset(source, '#', sizeof source);
    assert_string_equal(copy, "tank/a1");
    assert_string_equal(arena_text(&a, NULL, 0), "");
    arena_fini(&a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pieces_are_zeroed_aligned_and_apart),
        cmocka_unit_test(larger_than_a_block),
        cmocka_unit_test(nothing_is_a_piece_too),
        cmocka_unit_test(text_is_copied_and_terminated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
