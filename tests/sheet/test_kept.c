/*
 * Keys that are not ours: told, kept, written behind ours in their order, and never at another
 * element than the one they were read with.
 */
#include "tests/support/close.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "plumbrule/sheet.h"

static const char text[] =
    "{\n"
    "  \"format\": \"plumbrule-sheet\",\n"
    "  \"version\": 1,\n"
    "  \"film\": {\n"
    "    \"file\": \"a.png\",\n"
    "    \"room\": \"2\"\n"
    "  },\n"
    "  \"gauges\": [\n"
    "    {\n"
    "      \"name\": \"drill\",\n"
    "      \"kind\": \"length\",\n"
    "      \"mm\": 12,\n"
    "      \"ends\": [\n"
    "        {\"x\": 1, \"y\": 2},\n"
    "        {\"x\": 3, \"y\": 40, \"seen\": \"twice\"}\n"
    "      ],\n"
    "      \"serial\": \"A1\"\n"
    "    },\n"
    "    {\n"
    "      \"name\": \"ball\",\n"
    "      \"kind\": \"across\",\n"
    "      \"mm\": 5,\n"
    "      \"serial\": \"B2\"\n"
    "    }\n"
    "  ],\n"
    "  \"pin\": {\n"
    "    \"tip\": {\"x\": 9, \"y\": 8, \"colour\": \"red\"}\n"
    "  },\n"
    "  \"pins\": [\n"
    "    {\n"
    "      \"name\": \"site 36\",\n"
    "      \"tip\": {\"x\": 7, \"y\": 6, \"hue\": \"blue\"},\n"
    "      \"steel\": 316\n"
    "    },\n"
    "    {\n"
    "      \"name\": \"site 37\",\n"
    "      \"steel\": 440\n"
    "    }\n"
    "  ],\n"
    "  \"mesial\": {\n"
    "    \"near\": [\n"
    "      {\"x\": 1.5, \"y\": 1},\n"
    "      {\"x\": 2.5, \"y\": 2, \"doubt\": true},\n"
    "      {\"x\": 3.5, \"y\": 3}\n"
    "    ],\n"
    "    \"vital\": true\n"
    "  },\n"
    "  \"distal\": {\n"
    "    \"crown\": \"metal\"\n"
    "  },\n"
    "  \"zeta\": {\"b\": [1, 2.5, -1e-7, null, {\"x\": \"\\u001B \\\"q\\\"\"}], \"a\": 0.1},\n"
    "  \"alpha\": 0.30000000000000004,\n"
    "  \"big\": 9007199254740993,\n"
    "  \"\\u001B[31m\": []\n"
    "}\n";

static void parse_good(const char *from, struct sheet *s, struct sheet_notes *notes)
{
    struct err err = {0};
    if (plumb_sheet_parse(from, strlen(from), s, notes, &err) != 0)
        fail_msg("%s", err.text);
}

static char *print_good(const struct sheet *s)
{
    struct err err = {0};
    struct buf out = {0};
    if (plumb_sheet_print(s, &out, &err) != 0)
        fail_msg("%s", err.text);
    return out.data;
}

static void told_and_kept(void **state)
{
    (void)state;
    static const char *const want[] = {
        "film.room",
        "gauges[0].ends[1].seen",
        "gauges[0].serial",
        "gauges[1].serial",
        "pin.tip.colour",
        "pins[0].tip.hue",
        "pins[0].steel",
        "pins[1].steel",
        "mesial.near[1].doubt",
        "mesial.vital",
        "distal.crown",
        "zeta",
        "alpha",
        "big",
        "?[31m", /* what could upset a terminal is not passed on */
    };
    enum { WANT = sizeof want / sizeof want[0] };
    struct sheet s;
    struct sheet_notes notes = {0};
    parse_good(text, &s, &notes);
    assert_int_equal(notes.n, WANT);
    for (size_t i = 0; i < WANT; i++) {
        char line[100];
        snprintf(line, sizeof line, "unknown key %s: kept", want[i]);
        assert_string_equal(notes.line[i], line);
    }
    char *out = print_good(&s);
    assert_string_equal(out, text);
    free(out);
    plumb_sheet_notes_release(&notes);
    plumb_sheet_release(&s);
}

static void copies_keep_them(void **state)
{
    (void)state;
    struct sheet s, copy;
    parse_good(text, &s, NULL);
    assert_int_equal(plumb_sheet_copy(&s, &copy, NULL), 0);
    plumb_sheet_release(&s);
    char *out = print_good(&copy);
    assert_string_equal(out, text);
    free(out);
    plumb_sheet_release(&copy);
}

/* Do the lines with these two words follow each other with at most `gap` lines between? */
static bool near_by(const char *out, const char *first, const char *second, size_t gap)
{
    const char *a = strstr(out, first), *b = a ? strstr(a, second) : NULL;
    size_t lines = 0;
    for (const char *p = a; b != NULL && p < b; p++)
        lines += *p == '\n';
    return b != NULL && lines <= gap;
}

static void elements_come_and_go(void **state)
{
    (void)state;
    struct sheet s;
    parse_good(text, &s, NULL);
    s.gauge[0] = s.gauge[1]; /* the drill goes, the ball stays */
    s.n_gauges = 1;
    s.pins[0] = s.pins[1];
    s.n_pins = 1;
    struct mark_path *near = &s.side[MESIAL].near; /* a point comes in front */
    near->at = realloc(near->at, 4 * sizeof *near->at);
    memmove(&near->at[1], &near->at[0], 3 * sizeof *near->at);
    near->at[0] = (struct mark){.set = true, .x = 0.25, .y = 0.0};
    near->n = 4;
    char *out = print_good(&s);
    assert_null(strstr(out, "A1"));
    assert_true(near_by(out, "\"ball\"", "B2", 3));
    assert_true(near_by(out, "\"site 37\"", "440", 1));
    assert_null(strstr(out, "316"));
    assert_non_null(strstr(out, "{\"x\": 2.5, \"y\": 2, \"doubt\": true}"));
    free(out);

    strcpy(s.gauge[0].name, "bar"); /* another gauge in its place */
    near->n = 1;
    near->at[0].x = 2.6;
    out = print_good(&s);
    assert_null(strstr(out, "serial"));
    assert_null(strstr(out, "doubt"));
    free(out);
    plumb_sheet_release(&s);
}

static void they_go_with_their_mark(void **state)
{
    (void)state;
    struct sheet s, again;
    parse_good(text, &s, NULL);
    s.pin.tip.set = false;
    s.gauge[0].end[1].set = false;
    char *out = print_good(&s);
    assert_null(strstr(out, "colour"));
    assert_null(strstr(out, "twice"));
    assert_non_null(strstr(out, "A1"));
    parse_good(out, &again, NULL);
    free(out);
    plumb_sheet_release(&again);
    plumb_sheet_release(&s);
}

static void many_are_told_in_few_lines(void **state)
{
    (void)state;
    struct buf doc = {0};
    struct sheet s;
    struct sheet_notes notes = {0};
    plumb_buf_addf(&doc, "{\"format\": \"plumbrule-sheet\", \"version\": 1, "
                         "\"film\": {\"file\": \"a\"}");
    for (int i = 0; i < 5000; i++)
        plumb_buf_addf(&doc, ", \"k%d\": %d", i, i);
    plumb_buf_addf(&doc, "}");
    parse_good(doc.data, &s, &notes);
    assert_int_equal(notes.n, 21);
    assert_string_equal(notes.line[19], "unknown key k19: kept");
    assert_string_equal(notes.line[20], "more unknown keys: kept");
    char *out = print_good(&s);
    assert_non_null(strstr(out, "\"k4999\": 4999"));
    free(out);
    plumb_buf_release(&doc);
    plumb_sheet_notes_release(&notes);
    plumb_sheet_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(told_and_kept),
        cmocka_unit_test(copies_keep_them),
        cmocka_unit_test(elements_come_and_go),
        cmocka_unit_test(they_go_with_their_mark),
        cmocka_unit_test(many_are_told_in_few_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
