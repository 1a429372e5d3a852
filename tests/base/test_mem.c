/* Checked memory and growing text, with allocations that fail on purpose. */
#include "tests/support/close.h"

#include <stdlib.h>
#include <string.h>
#include "plumbrule/base.h"

static int memory_works_again(void **state)
{
    (void)state;
    plumb_mem_fail_after(0);
    return 0;
}

static void array_is_zeroed(void **state)
{
    (void)state;
    unsigned char *p = plumb_mem_array(100, 7, NULL);
    assert_non_null(p);
    for (size_t i = 0; i < 700; i++)
        assert_int_equal(p[i], 0);
    free(p);
}

static void nothing_is_a_valid_array(void **state)
{
    (void)state;
    void *a = plumb_mem_array(0, 8, NULL), *b = plumb_mem_array(8, 0, NULL);
    assert_non_null(a);
    assert_non_null(b);
    free(a);
    free(b);
}

static void overflow_is_refused(void **state)
{
    (void)state;
    struct err e = {0};
    assert_null(plumb_mem_array(SIZE_MAX / 2, 3, &e));
    assert_int_equal(e.code, ERR_NOMEM);
    assert_null(plumb_mem_array(SIZE_MAX, SIZE_MAX, NULL));
    int *p = plumb_mem_array(2, sizeof *p, NULL);
    p[1] = 42;
    e = (struct err){0};
    assert_null(plumb_mem_resize(p, SIZE_MAX / 2, sizeof *p, &e));
    assert_int_equal(e.code, ERR_NOMEM);
    assert_int_equal(p[1], 42); /* the old one is still valid */
    free(p);
}

static void resize_keeps_what_was_there(void **state)
{
    (void)state;
    int *p = plumb_mem_resize(NULL, 4, sizeof *p, NULL);
    for (int i = 0; i < 4; i++)
        p[i] = i;
    p = plumb_mem_resize(p, 4000, sizeof *p, NULL);
    for (int i = 0; i < 4; i++)
        assert_int_equal(p[i], i);
    free(p);
}

static void the_nth_allocation_fails(void **state)
{
    (void)state;
    for (long n = 1; n <= 4; n++) {
        plumb_mem_fail_after(n);
        for (long i = 1; i <= 6; i++) {
            struct err e = {0};
            void *p = plumb_mem_array(1, 1, &e);
            assert_int_equal(p == NULL, i == n);
            assert_int_equal(e.code, i == n ? ERR_NOMEM : 0);
            free(p);
        }
    }
}

static void text_grows_and_stays_ended(void **state)
{
    (void)state;
    struct buf b = {0};
    for (int i = 0; i < 5000; i++) {
        plumb_buf_addf(&b, "%d,", i % 10);
        assert_int_equal(b.data[b.len], '\0');
    }
    assert_int_equal(b.len, 10000);
    assert_memory_equal(b.data + 9990, "5,6,7,8,9,", 10);
    assert_int_equal(plumb_buf_check(&b, NULL), 0);
    plumb_buf_release(&b);
    assert_null(b.data);
    plumb_buf_release(&b);
    plumb_buf_release(NULL);
}

static void text_takes_any_bytes(void **state)
{
    (void)state;
    struct buf b = {0};
    plumb_buf_add(&b, "a\0b", 3);
    plumb_buf_add(&b, NULL, 0);
    assert_int_equal(b.len, 3);
    assert_memory_equal(b.data, "a\0b", 4);
    plumb_buf_release(&b);
}

static void a_format_longer_than_any_guess(void **state)
{
    (void)state;
    struct buf b = {0};
    plumb_buf_addf(&b, "%0*d", 100000, 7);
    assert_int_equal(b.len, 100000);
    assert_int_equal(b.data[99999], '7');
    plumb_buf_release(&b);
}

/* The failure sticks: later text must not be glued over the hole. */
static void failure_sticks(void **state)
{
    (void)state;
    struct buf b = {0};
    struct err e = {0};
    char big[1000] = {0};
    plumb_buf_add(&b, "first", 5);
    plumb_mem_fail_after(1);
    plumb_buf_add(&b, big, sizeof big);
    plumb_buf_add(&b, "last", 4);
    assert_true(b.failed);
    assert_string_equal(b.data, "first");
    assert_int_equal(plumb_buf_check(&b, &e), ERR_NOMEM);
    assert_int_equal(e.code, ERR_NOMEM);
    plumb_buf_release(&b);
    assert_false(b.failed);
}

static void absurd_lengths_fail_instead_of_wrapping(void **state)
{
    (void)state;
    struct buf b = {0};
    plumb_buf_add(&b, "x", 1);
    plumb_buf_add(&b, "y", SIZE_MAX - 1);
    assert_true(b.failed);
    assert_int_equal(b.len, 1);
    plumb_buf_release(&b);
}

static void paths_join_with_one_slash(void **state)
{
    (void)state;
    static const char *const table[][3] = {
        {"a", "b", "a/b"}, {"a/", "b", "a/b"},  {"", "b", "b"},
        {"/", "b", "/b"},  {"a/b", "", "a/b/"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        char *p = plumb_path_join(table[i][0], table[i][1], NULL);
        assert_string_equal(p, table[i][2]);
        free(p);
    }
    struct err e = {0};
    plumb_mem_fail_after(1);
    assert_null(plumb_path_join("a", "b", &e));
    assert_int_equal(e.code, ERR_NOMEM);
    assert_string_equal(plumb_path_base("/x/y.png"), "y.png");
    assert_string_equal(plumb_path_base("y.png"), "y.png");
    assert_string_equal(plumb_path_base("x/"), "");
}

#define test(f) cmocka_unit_test_teardown(f, memory_works_again)

int main(void)
{
    const struct CMUnitTest tests[] = {
        test(array_is_zeroed),
        test(nothing_is_a_valid_array),
        test(overflow_is_refused),
        test(resize_keeps_what_was_there),
        test(the_nth_allocation_fails),
        test(text_grows_and_stays_ended),
        test(text_takes_any_bytes),
        test(a_format_longer_than_any_guess),
        test(failure_sticks),
        test(absurd_lengths_fail_instead_of_wrapping),
        test(paths_join_with_one_slash),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
