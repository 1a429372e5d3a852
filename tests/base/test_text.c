/*
 * UTF-8 against RFC 3629 (section 3 for the shape, section 4 for the grammar of well-formed bytes):
 * a table of good and bad sequences, and every one- to four-byte sequence at the edges of the
 * grammar against a decoder written from section 3 alone.
 */
#include "tests/support/close.h"

#include <stdio.h>
#include <string.h>
#include "plumbrule/base.h"

struct sample {
    const char *bytes;
    size_t len;
    bool good;
};

#define good(s)                                                                                    \
    {                                                                                              \
        s, sizeof(s) - 1, true                                                                     \
    }
#define bad(s)                                                                                     \
    {                                                                                              \
        s, sizeof(s) - 1, false                                                                    \
    }

static void table_of_sequences(void **state)
{
    (void)state;
    static const struct sample table[] = {
        good(""),
        good("plain"),
        good("a\0b"),
        good("\x7f"),
        good("\xc2\x80"),                     /* U+0080, the first of two bytes */
        good("\xdf\xbf"),                     /* U+07FF */
        good("\xe0\xa0\x80"),                 /* U+0800 */
        good("\xed\x9f\xbf"),                 /* U+D7FF, last before the surrogates */
        good("\xee\x80\x80"),                 /* U+E000, first after them */
        good("\xef\xbf\xbf"),                 /* U+FFFF */
        good("\xf0\x90\x80\x80"),             /* U+10000 */
        good("\xf4\x8f\xbf\xbf"),             /* U+10FFFF, the last */
        good("\xef\xbb\xbf"),                 /* byte order mark */
        good("\x41\xe2\x89\xa2\xce\x91\x2e"), /* RFC 3629, section 7 */
        bad("\x80"),                          /* continuation alone */
        bad("\xbf"),
        bad("\xc0\x80"), /* overlong NUL */
        bad("\xc1\xbf"), /* overlong U+007F */
        bad("\xe0\x80\x80"),
        bad("\xe0\x9f\xbf"), /* overlong U+07FF */
        bad("\xf0\x80\x80\x80"),
        bad("\xf0\x8f\xbf\xbf"),         /* overlong U+FFFF */
        bad("\xed\xa0\x80"),             /* U+D800 */
        bad("\xed\xbf\xbf"),             /* U+DFFF */
        bad("\xed\xa0\xbd\xed\xb8\x80"), /* surrogate pair */
        bad("\xf4\x90\x80\x80"),         /* U+110000 */
        bad("\xf5\x80\x80\x80"),
        bad("\xf8\x88\x80\x80\x80"), /* five bytes */
        bad("\xfe"),
        bad("\xff"),
        bad("\xc2"), /* cut short */
        bad("\xe2\x82"),
        bad("\xf0\x9f\x98"),
        bad("\xc2\x41"), /* second byte is no continuation */
        bad("\xe2\x82\x41"),
        bad("ok \xe2\x28\xa1 ok"),
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (plumb_text_is_utf8(table[i].bytes, table[i].len) != table[i].good)
            fail_msg("sequence %zu of the table", i);
}

/* RFC 3629, section 3: free and fixed bits of each length; then the ranges that are forbidden. */
static bool decodes(const unsigned char *s, size_t n)
{
    static const struct {
        unsigned mask, mark, first, last;
    } form[4] = {{0x80, 0x00, 0, 0x7f},
                 {0xe0, 0xc0, 0x80, 0x7ff},
                 {0xf0, 0xe0, 0x800, 0xffff},
                 {0xf8, 0xf0, 0x10000, 0x10ffff}};
    if ((s[0] & form[n - 1].mask) != form[n - 1].mark)
        return false;
    unsigned c = s[0] & ~form[n - 1].mask & 0xffu;
    for (size_t i = 1; i < n; i++) {
        if ((s[i] & 0xc0) != 0x80)
            return false;
        c = c << 6 | (s[i] & 0x3fu);
    }
    return c >= form[n - 1].first && c <= form[n - 1].last && (c < 0xd800 || c > 0xdfff);
}

static void every_sequence_at_the_edges(void **state)
{
    (void)state;
    static const unsigned char edge[] = {0x00, 0x41, 0x7f, 0x80, 0x8f, 0x90,
                                         0x9f, 0xa0, 0xbf, 0xc0, 0xff};
    size_t e = sizeof edge;
    for (size_t n = 2; n <= 4; n++)
        for (unsigned first = 0xc0; first <= 0xff; first++)
            for (size_t k = 0; k < (n == 2 ? e : n == 3 ? e * e : e * e * e); k++) {
                unsigned char s[4] = {(unsigned char)first, edge[k % e], edge[k / e % e],
                                      edge[k / e / e]};
                bool want = decodes(s, n);
                if (n == 3) /* a whole of two and an ASCII byte is good as well */
                    want = want || (decodes(s, 2) && decodes(s + 2, 1));
                if (n == 4)
                    want = want || (decodes(s, 3) && decodes(s + 3, 1)) ||
                           (decodes(s, 2) && decodes(s + 2, 1) && decodes(s + 3, 1)) ||
                           (decodes(s, 2) && decodes(s + 2, 2));
                if (plumb_text_is_utf8((const char *)s, n) != want)
                    fail_msg("%02x %02x %02x %02x of length %zu", s[0], s[1], s[2], s[3], n);
            }
}

static void nothing_is_read_beyond_the_end(void **state)
{
    (void)state;
    char exact[3] = {'\xf0', '\x9f', '\x98'}; /* the address sanitizer watches its end */
    assert_false(plumb_text_is_utf8(exact, sizeof exact));
}

static void length_counts_code_points(void **state)
{
    (void)state;
    assert_int_equal(plumb_text_length(""), 0);
    assert_int_equal(plumb_text_length("abc"), 3);
    assert_int_equal(plumb_text_length("\xc2\xb1\xe2\x82\xac\xf0\x9f\x98\x80."), 4);
}

static void copy_cuts_at_a_code_point(void **state)
{
    (void)state;
    static const char text[] = "a\xc2\xb1\xe2\x82\xac\xf0\x9f\x98\x80"; /* 1, 2, 3 and 4 bytes */
    static const size_t whole[] = {0, 1, 1, 3, 3, 3, 6, 6, 6, 6, 10};
    for (size_t n = 1; n <= 11; n++) {
        char out[16];
        memset(out, '#', sizeof out);
        assert_int_equal(plumb_text_copy(out, n, text), n == 11);
        assert_int_equal(strlen(out), whole[n - 1]);
        assert_memory_equal(out, text, whole[n - 1]);
        assert_int_equal(out[n], '#');
    }
}

static void copy_may_overlap(void **state)
{
    (void)state;
    char s[] = "0123456789";
    plumb_text_copy(s, sizeof s, s + 3);
    assert_string_equal(s, "3456789");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(table_of_sequences),
        cmocka_unit_test(every_sequence_at_the_edges),
        cmocka_unit_test(nothing_is_read_beyond_the_end),
        cmocka_unit_test(length_counts_code_points),
        cmocka_unit_test(copy_cuts_at_a_code_point),
        cmocka_unit_test(copy_may_overlap),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
