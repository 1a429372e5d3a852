/* Errors told in words: code, text, prefix, cutting at a code point. */
#include "tests/support/close.h"

#include <string.h>
#include "plumbrule/base.h"

static void set_returns_the_code_and_writes_the_text(void **state)
{
    (void)state;
    struct err e = {0};
    assert_int_equal(plumb_err_set(&e, ERR_LIMIT, "%d of %s", 3, "points"), ERR_LIMIT);
    assert_int_equal(e.code, ERR_LIMIT);
    assert_string_equal(e.text, "3 of points");
    assert_int_equal(plumb_err_set(NULL, ERR_IO, "nobody listens"), ERR_IO);
}

static void prefix_goes_before_and_keeps_the_code(void **state)
{
    (void)state;
    struct err e = {0};
    plumb_err_set(&e, ERR_FORMAT, "no number here");
    assert_int_equal(plumb_err_prefix(&e, "line %d", 7), ERR_FORMAT);
    assert_string_equal(e.text, "line 7: no number here");
    assert_int_equal(plumb_err_prefix(NULL, "line"), ERR_ARG);
}

static void long_text_is_cut_and_ended(void **state)
{
    (void)state;
    char longer[1000];
    memset(longer, 'x', sizeof longer - 1);
    longer[sizeof longer - 1] = '\0';
    struct err e = {0};
    plumb_err_set(&e, ERR_ARG, "%s", longer);
    assert_int_equal(strlen(e.text), sizeof e.text - 1);
    plumb_err_prefix(&e, "%s", longer);
    assert_true(strlen(e.text) < sizeof e.text);
    assert_int_equal(e.text[0], 'x');
}

/* A name in the text may end in the middle of a code point when the text is cut. */
static void cut_text_is_still_utf8(void **state)
{
    (void)state;
    for (size_t shift = 0; shift < 4; shift++) {
        char name[600] = "abc";
        name[shift] = '\0';
        while (strlen(name) < 500)
            strcat(name, "\xe2\x82\xac"); /* euro sign, three bytes */
        struct err e = {0};
        plumb_err_set(&e, ERR_ARG, "%s", name);
        assert_true(plumb_text_is_utf8(e.text, strlen(e.text)));
        plumb_err_set(&e, ERR_ARG, "short");
        plumb_err_prefix(&e, "%s", name);
        assert_true(plumb_text_is_utf8(e.text, strlen(e.text)));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(set_returns_the_code_and_writes_the_text),
        cmocka_unit_test(prefix_goes_before_and_keeps_the_code),
        cmocka_unit_test(long_text_is_cut_and_ended),
        cmocka_unit_test(cut_text_is_still_utf8),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
