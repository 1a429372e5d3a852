/*
 * Texts made to break a reader: too many, too deep, too long, cut short, bytes changed, memory that
 * runs out in our own code and in jansson's. Each is refused in one clear line or read into a sheet
 * that can be written and read again.
 */
#include "tests/support/close.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/support/sheet_example.h"

static int parse(const char *text, size_t len, struct sheet *s, struct err *err)
{
    *err = (struct err){0};
    int rc = plumb_sheet_parse(text, len, s, NULL, err);
    assert_int_equal(rc, err->code);
    assert_true(rc == 0 || (strlen(err->text) > 10 && strchr(err->text, '\n') == NULL &&
                            plumb_text_is_utf8(err->text, strlen(err->text))));
    return rc;
}

/* A sheet that was read is written, and what was written reads and writes the same. */
static void must_settle(const struct sheet *s)
{
    struct sheet again;
    struct buf first = {0}, second = {0};
    struct err err = {0};
    if (plumb_sheet_print(s, &first, &err) != 0 || parse(first.data, first.len, &again, &err) != 0)
        fail_msg("%s", err.text);
    assert_true(sheet_same(s, &again));
    assert_int_equal(plumb_sheet_print(&again, &second, &err), 0);
    assert_string_equal(first.data, second.data);
    plumb_buf_release(&first);
    plumb_buf_release(&second);
    plumb_sheet_release(&again);
}

/* --- too much -----------------------------------------------------------------------------------
 */

static const char head[] = "{\"format\": \"plumbrule-sheet\", \"version\": 1, "
                           "\"film\": {\"file\": \"a\"}, ";

/* head, key, then n times `piece`, then tail. */
static char *repeated(const char *key, const char *piece, size_t n, const char *tail, size_t *len)
{
    size_t start = strlen(head) + strlen(key), step = strlen(piece);
    *len = start + n * step + strlen(tail);
    char *text = malloc(*len + 1), *p = text + start;
    snprintf(text, *len + 1, "%s%s", head, key);
    for (size_t i = 0; i < n; i++, p += step)
        memcpy(p, piece, step);
    strcpy(p, tail);
    return text;
}

static const struct {
    const char *key, *piece;
    size_t n;
    const char *tail;
    int want;
    const char *says;
} bulk[] = {
    {"\"z\": ", "[", 4000000, "", ERR_LIMIT, "more values than any sheet needs"},
    {"\"z\": [", "{},", 400000, "0]}", ERR_LIMIT, "more values than any sheet needs"},
    {"\"z\": [", "1,", 2000000, "0]}", ERR_LIMIT, "more values than any sheet needs"},
    {"\"z\": [", "1,", 100000, "0]}", 0, NULL},
    {"\"z\": ", "[", 3000, "", ERR_FORMAT, "broken JSON, maximum parsing depth reached"},
    {"\"z\": ", "{\"a\":", 3000, "", ERR_FORMAT, "broken JSON, maximum parsing depth reached"},
    {"\"z\": \"", "x", SHEET_BYTES, "\"}", ERR_LIMIT, "larger than"},
    {"\"z\": \"", "[{,", 300000, "\"}", 0, NULL},     /* brackets in a text are none */
    {"\"z\": \"\\\"", "[{,", 300000, "\"}", 0, NULL}, /* nor behind a quoted quote */
    {"\"remarks\": \"", "x", SHEET_TEXT - 1, "\"}", 0, NULL},
    {"\"remarks\": \"", "x", SHEET_TEXT, "\"}", ERR_FORMAT,
     "remarks is too long: at most 4095 bytes, it has 4096"},
    {"\"mesial\": {\"near\": [", "{\"x\":1,\"y\":2},", SHEET_PATH - 1, "{\"x\":1,\"y\":2}]}}", 0,
     NULL},
    {"\"mesial\": {\"near\": [", "{\"x\":1,\"y\":2},", SHEET_PATH, "{\"x\":1,\"y\":2}]}}",
     ERR_FORMAT, "mesial.near is too long: at most 2000 entries, it has 2001"},
    {"\"site\": {\"tooth\": \"", "1", 100000, "\"}}", ERR_FORMAT, "site.tooth is no tooth"},
    {"\"", "k", 100000, "\": 1}", 0, NULL},
};

static void too_much(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof bulk / sizeof bulk[0]; i++) {
        size_t len;
        char *text = repeated(bulk[i].key, bulk[i].piece, bulk[i].n, bulk[i].tail, &len);
        struct sheet s;
        struct err err;
        int rc = parse(text, len, &s, &err);
        if (rc != bulk[i].want || (rc != 0 && strstr(err.text, bulk[i].says) == NULL))
            fail_msg("%zu: %d %s", i, rc, err.text);
        if (rc == 0)
            must_settle(&s);
        plumb_sheet_release(&s);
        free(text);
    }
}

/* Every list full: the largest sheet there can be is within the limits of bulk. */
static void the_fullest_sheet_is_read(void **state)
{
    (void)state;
    struct sheet s, again;
    struct err err;
    struct buf out = {0};
    sheet_example(&s);
    struct mark_path *paths[4 + SHEET_BOUNDS] = {&s.side[MESIAL].near, &s.side[MESIAL].far,
                                                 &s.side[DISTAL].near, &s.side[DISTAL].far};
    for (size_t i = 0; i < SHEET_BOUNDS; i++)
        paths[4 + i] = &s.bound[i].path;
    s.n_bounds = SHEET_BOUNDS;
    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        free(paths[i]->at);
        paths[i]->at = calloc(SHEET_PATH, sizeof *paths[i]->at);
        paths[i]->n = SHEET_PATH;
        for (size_t j = 0; j < SHEET_PATH; j++)
            paths[i]->at[j] = (struct mark){true, 1234.567, (double)j, 0.1234, MARK_CARRIED, true};
    }
    assert_int_equal(plumb_sheet_print(&s, &out, &err), 0);
    assert_true(out.len < SHEET_BYTES);
    assert_int_equal(parse(out.data, out.len, &again, &err), 0);
    assert_true(sheet_same(&s, &again));
    plumb_buf_release(&out);
    plumb_sheet_release(&s);
    plumb_sheet_release(&again);
}

/* --- cut and changed ----------------------------------------------------------------------------
 */

static void cut_at_every_byte(void **state)
{
    (void)state;
    size_t whole = strlen(sheet_example_text) - 1; /* the last line break may go */
    for (size_t len = 0; len < whole; len++) {
        char *part = malloc(len > 0 ? len : 1); /* of its own, for a sanitizer to watch */
        struct sheet s;
        struct err err;
        memcpy(part, sheet_example_text, len);
        assert_int_equal(parse(part, len, &s, &err), ERR_FORMAT);
        free(part);
    }
    struct sheet s;
    struct err err;
    assert_int_equal(parse(sheet_example_text, whole, &s, &err), 0);
    plumb_sheet_release(&s);
}

static void any_byte_changed(void **state)
{
    (void)state;
    static const char put[] = {'"', '\\', '{', ']', '9', '-', 'e', '\0', '\n', '\xC2', '\xFF', ','};
    size_t len = strlen(sheet_example_text), read = 0;
    char *text = malloc(len);
    for (size_t i = 0; i < len; i++) {
        struct sheet s;
        struct err err;
        memcpy(text, sheet_example_text, len);
        text[i] = put[(i * 7 + i / 12) % sizeof put];
        if (parse(text, len, &s, &err) != 0)
            continue;
        must_settle(&s);
        plumb_sheet_release(&s);
        read++;
    }
    assert_true(read > 50 && read < len / 2); /* both ways are walked */
    free(text);
}

static void many_bytes_changed(void **state)
{
    (void)state;
    size_t len = strlen(sheet_example_text);
    char *text = malloc(len);
    uint32_t seed = 7;
    for (int round = 0; round < 1500; round++) {
        struct sheet s;
        struct err err;
        memcpy(text, sheet_example_text, len);
        for (int k = 0; k < 1 + round % 4; k++) {
            seed = seed * 1664525u + 1013904223u;
            size_t to = (seed >> 4) % len;
            seed = seed * 1664525u + 1013904223u;
            text[to] = text[(seed >> 4) % len]; /* a byte of the text itself keeps more valid */
        }
        if (parse(text, len, &s, &err) != 0)
            continue;
        must_settle(&s);
        plumb_sheet_release(&s);
    }
    free(text);
}

/* --- no memory ----------------------------------------------------------------------------------
 */

static void our_memory_runs_out(void **state)
{
    (void)state;
    int rc = ERR_NOMEM, failures = 0;
    for (long n = 1; rc != 0; n++) {
        struct sheet s;
        struct err err;
        plumb_mem_fail_after(n);
        rc = parse(sheet_example_text, strlen(sheet_example_text), &s, &err);
        plumb_mem_fail_after(0);
        assert_true(rc == 0 || rc == ERR_NOMEM);
        failures += rc != 0;
        plumb_sheet_release(&s);
    }
    assert_int_equal(failures, 5); /* the example's paths */

    struct sheet s;
    sheet_example(&s);
    rc = ERR_NOMEM;
    for (long n = 1; rc != 0; n++) {
        struct err err = {0};
        struct buf out = {0};
        plumb_mem_fail_after(n);
        rc = plumb_sheet_print(&s, &out, &err);
        plumb_mem_fail_after(0);
        assert_true(rc == 0 || (rc == ERR_NOMEM && err.code == rc && out.data == NULL));
        failures += rc != 0;
        plumb_buf_release(&out);
    }
    assert_true(failures > 8); /* the text grew several times */
    plumb_sheet_release(&s);
}

static long json_left = -1; /* allocations jansson may still make; below 0: any */

static void *scarce_malloc(size_t n)
{
    if (json_left == 0)
        return NULL;
    json_left -= json_left > 0;
    return malloc(n);
}

static void jansson_memory_runs_out(void **state)
{
    (void)state;
    struct buf text = {0}, whole = {0};
    plumb_buf_add(&text, sheet_example_text, strlen(sheet_example_text) - 2);
    plumb_buf_addf(&text, ", \"foreign\": [0.1, {\"a\": 1e-7}], \"b\": {}}");
    json_set_alloc_funcs(scarce_malloc, free);
    int read = ERR_NOMEM, written = ERR_NOMEM;
    for (long n = 0; read != 0; n++) {
        struct sheet s;
        struct err err;
        json_left = n;
        read = parse(text.data, text.len, &s, &err);
        json_left = -1;
        /* jansson tells some of its failures as a bad token */
        assert_true(read == 0 || read == ERR_NOMEM || read == ERR_FORMAT);
        if (read == 0) /* with the last failure behind us */
            assert_int_equal(plumb_sheet_print(&s, &whole, &err), 0);
        for (long m = 0; read == 0 && written != 0; m++) {
            struct buf out = {0};
            json_left = m;
            written = plumb_sheet_print(&s, &out, &err);
            json_left = -1;
            assert_true(written == ERR_NOMEM || strcmp(out.data, whole.data) == 0);
            plumb_buf_release(&out);
        }
        plumb_sheet_release(&s);
    }
    json_set_alloc_funcs(malloc, free);
    plumb_buf_release(&text);
    plumb_buf_release(&whole);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(too_much),
        cmocka_unit_test(the_fullest_sheet_is_read),
        cmocka_unit_test(cut_at_every_byte),
        cmocka_unit_test(any_byte_changed),
        cmocka_unit_test(many_bytes_changed),
        cmocka_unit_test(our_memory_runs_out),
        cmocka_unit_test(jansson_memory_runs_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
