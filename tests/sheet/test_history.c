/* Undo and redo: every step comes back, a new step drops what had been undone, failure changes
 * nothing. */
#include "tests/support/close.h"

#include "tests/support/sheet_example.h"

enum { STEPS = 500 };

static void there_and_back(void **state)
{
    (void)state;
    struct sheet s;
    struct sheet_history h;
    sheet_example(&s);
    s.pin.tip.x = 0.0;
    assert_int_equal(plumb_sheet_history_init(&h, &s, NULL), 0);
    assert_null(plumb_sheet_history_undo(&h));
    assert_null(plumb_sheet_history_redo(&h));
    for (int i = 1; i <= STEPS; i++) {
        s.pin.tip.x = i;
        s.side[MESIAL].near.at[0].y = -i; /* the steps own their paths */
        assert_int_equal(plumb_sheet_history_push(&h, &s, NULL), 0);
    }
    for (int i = STEPS - 1; i >= 0; i--) {
        const struct sheet *was = plumb_sheet_history_undo(&h);
        assert_non_null(was);
        assert_close(was->pin.tip.x, i, 0.0);
        assert_close(was->side[MESIAL].near.at[0].y, i > 0 ? -i : 371, 0.0);
    }
    assert_null(plumb_sheet_history_undo(&h));
    for (int i = 1; i <= STEPS; i++)
        assert_close(plumb_sheet_history_redo(&h)->pin.tip.x, i, 0.0);
    assert_null(plumb_sheet_history_redo(&h));
    assert_true(sheet_same(&h.step[h.at], &s));
    plumb_sheet_release(&s);
    plumb_sheet_history_release(&h);
}

static void a_new_step_ends_redo(void **state)
{
    (void)state;
    struct sheet s;
    struct sheet_history h;
    sheet_example(&s);
    assert_int_equal(plumb_sheet_history_init(&h, &s, NULL), 0);
    for (int i = 1; i <= 4; i++) {
        s.pin.tip.x = i;
        assert_int_equal(plumb_sheet_history_push(&h, &s, NULL), 0);
    }
    plumb_sheet_history_undo(&h);
    plumb_sheet_history_undo(&h); /* at 2 */
    s.pin.tip.x = 99.0;
    assert_int_equal(plumb_sheet_history_push(&h, &s, NULL), 0);
    assert_null(plumb_sheet_history_redo(&h));
    assert_close(plumb_sheet_history_undo(&h)->pin.tip.x, 2.0, 0.0);
    assert_close(plumb_sheet_history_redo(&h)->pin.tip.x, 99.0, 0.0);
    /* a step of its own may be pushed again */
    assert_int_equal(plumb_sheet_history_push(&h, &h.step[1], NULL), 0);
    assert_close(h.step[h.at].pin.tip.x, 1.0, 0.0);
    plumb_sheet_release(&s);
    plumb_sheet_history_release(&h);
}

static void no_memory_changes_nothing(void **state)
{
    (void)state;
    struct sheet s;
    struct sheet_history h = {0};
    sheet_example(&s);
    int rc = -1, failures = 0;
    for (long n = 1; rc != 0; n++) {
        struct err err = {0};
        plumb_mem_fail_after(n);
        rc = plumb_sheet_history_init(&h, &s, &err);
        plumb_mem_fail_after(0);
        assert_true(rc == 0 || (rc == ERR_NOMEM && err.code == rc && h.step == NULL && h.n == 0));
        failures += rc != 0;
    }
    assert_true(failures >= 6);       /* five paths and the row */
    for (size_t i = 0; i < 40; i++) { /* some pushes must let the row grow */
        plumb_mem_fail_after(1 + (long)(i % 6));
        size_t n = h.n, at = h.at;
        rc = plumb_sheet_history_push(&h, &s, NULL);
        plumb_mem_fail_after(0);
        assert_int_equal(h.n, n + (rc == 0));
        assert_int_equal(h.at, at + (rc == 0));
        assert_int_equal(plumb_sheet_history_push(&h, &s, NULL), 0);
        assert_true(sheet_same(&h.step[h.at], &s));
    }
    plumb_sheet_release(&s);
    plumb_sheet_history_release(&h);
    plumb_sheet_history_release(&h);
    plumb_sheet_history_release(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(there_and_back),
        cmocka_unit_test(a_new_step_ends_redo),
        cmocka_unit_test(no_memory_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
