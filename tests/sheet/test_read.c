/*
 * Reading and writing: the example document against the struct written by hand, in both directions;
 * faults with the line and column where they stand, counted by hand; what every key refuses.
 */
#include "tests/support/close.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "tests/support/sheet_example.h"

static void parse_good(const char *text, struct sheet *s, struct sheet_notes *notes)
{
    struct err err = {0};
    if (plumb_sheet_parse(text, strlen(text), s, notes, &err) != 0)
        fail_msg("%s", err.text);
}

static void print_good(const struct sheet *s, struct buf *out)
{
    struct err err = {0};
    *out = (struct buf){0};
    if (plumb_sheet_print(s, out, &err) != 0)
        fail_msg("%s", err.text);
}

static void example_reads_as_written_by_hand(void **state)
{
    (void)state;
    struct sheet want, got;
    struct sheet_notes notes = {0};
    sheet_example(&want);
    parse_good(sheet_example_text, &got, &notes);
    assert_true(sheet_same(&want, &got));
    assert_int_equal(notes.n, 0);
    assert_null(got.kept);
    plumb_sheet_release(&got);
    plumb_sheet_release(&want);
}

static void example_writes_as_written_by_hand(void **state)
{
    (void)state;
    struct sheet s;
    struct buf out;
    sheet_example(&s);
    print_good(&s, &out);
    assert_string_equal(out.data, sheet_example_text);
    assert_int_equal(out.len, strlen(sheet_example_text));
    plumb_buf_release(&out);
    plumb_sheet_release(&s);
}

/* The same document in another layout, order and number spelling, from an editor that puts a byte
 * order mark first; null and "" and 0 say: not stated. */
static void layout_does_not_matter(void **state)
{
    (void)state;
    struct sheet s;
    struct buf out;
    parse_good("\xEF\xBB\xBF{\"remarks\":\"\",\r\n\"mesial\":{\"tooth\":\"21\",\"apex\":null,"
               "\"near\":[],\"cej\":{\"y\":1e1,\"x\":-0.0}},"
               "\"site\":{\"notation\":\"universal\",\"tooth\":\"20\",\"grafted\":null},"
               "\"pin\":{\"axis\":[null,null],\"tip\":{\"x\":1.00049,\"y\":2.9996,\"sd\":0}},"
               "\"gauges\":[],\"bounds\":null,\"plan\":null,"
               "\"film\":{\"width\":0,\"sensor_mm\":0,\"stage\":\"\",\"file\":\"a\"},"
               "\"version\":1,\"format\":\"plumbrule-sheet\"}",
               &s, NULL);
    assert_int_equal(s.site.tooth, 35);
    assert_int_equal(s.side[MESIAL].tooth, 34);
    assert_false(s.plan.set);
    print_good(&s, &out);
    assert_string_equal(out.data, "{\n"
                                  "  \"format\": \"plumbrule-sheet\",\n"
                                  "  \"version\": 1,\n"
                                  "  \"film\": {\n"
                                  "    \"file\": \"a\"\n"
                                  "  },\n"
                                  "  \"site\": {\n"
                                  "    \"tooth\": \"20\",\n"
                                  "    \"notation\": \"universal\",\n"
                                  "    \"seen_from\": \"facial\"\n"
                                  "  },\n"
                                  "  \"pin\": {\n"
                                  "    \"tip\": {\"x\": 1, \"y\": 3}\n"
                                  "  },\n"
                                  "  \"mesial\": {\n"
                                  "    \"tooth\": \"21\",\n"
                                  "    \"cej\": {\"x\": 0, \"y\": 10}\n"
                                  "  }\n"
                                  "}\n");
    plumb_buf_release(&out);
    plumb_sheet_release(&s);
}

/* --- numbers ------------------------------------------------------------------------------------
 */

/* x as it stands in the document. */
static void print_number(double x, double sd, char *out, size_t size)
{
    struct sheet s;
    struct buf text;
    plumb_sheet_init(&s);
    strcpy(s.film.file, "a");
    s.pin.tip = (struct mark){true, x, 0.0, sd, MARK_HAND, false};
    print_good(&s, &text);
    char *from = strstr(text.data, "\"x\": "), *end = strchr(from, '}');
    *end = '\0';
    snprintf(out, size, "%s", from + 5);
    plumb_buf_release(&text);
}

static void numbers_are_short(void **state)
{
    (void)state;
    static const struct {
        double x, sd;
        const char *want;
    } table[] = {
        {0.0, 0.0, "0, \"y\": 0"},
        {-0.0, 0.0, "0, \"y\": 0"},
        {-0.0004, 0.0, "0, \"y\": 0"},
        {-0.0006, 0.0, "-0.001, \"y\": 0"},
        {0.1, 0.0, "0.1, \"y\": 0"},
        {0.05, 0.0, "0.05, \"y\": 0"},
        {-12.07, 0.0, "-12.07, \"y\": 0"},
        {1.0 / 3.0, 0.25, "0.333, \"y\": 0, \"sd\": 0.25"},
        {999999.9994, 10000.0, "999999.999, \"y\": 0, \"sd\": 10000"},
        {100.0, 1e-12, "100, \"y\": 0, \"sd\": 0.0001"}, /* 0 would mean: not stated */
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        char got[80];
        print_number(table[i].x, table[i].sd, got, sizeof got);
        assert_string_equal(got, table[i].want);
    }
}

/* What is read is what would be written: any coordinate comes back as the same double. */
static void numbers_survive_a_second_reading(void **state)
{
    (void)state;
    uint64_t seed = 1;
    for (int i = 0; i < 500; i++) {
        seed = seed * 6364136223846793005u + 1442695040888963407u;
        struct sheet s, again;
        struct buf text;
        char doc[200];
        snprintf(doc, sizeof doc,
                 "{\"format\": \"plumbrule-sheet\", \"version\": 1, \"film\": {\"file\": \"a\"}, "
                 "\"pin\": {\"tip\": {\"x\": %.17g, \"y\": 3}}}",
                 ((double)(seed >> 11) / 9007199254740992.0 - 0.5) * (i % 2 ? 2e6 : 2.0));
        parse_good(doc, &s, NULL);
        print_good(&s, &text);
        parse_good(text.data, &again, NULL);
        assert_true(sheet_same(&s, &again));
        plumb_buf_release(&text);
        plumb_sheet_release(&s);
        plumb_sheet_release(&again);
    }
}

/* --- faults and where they stand ----------------------------------------------------------------
 */

#define HEAD "{\"format\": \"plumbrule-sheet\", \"version\": 1,\n"
#define FILM "\"film\": {\"file\": \"a\"},\n"

static const struct {
    const char *text, *want;
} faults[] = {
    /* the JSON itself */
    {"", "is empty: no sheet"},
    {"{", "line 1, column 1: broken JSON, "},
    {HEAD FILM "\"remarks\": \"a\"\n\"plan\": 1}", "line 4, column 6: broken JSON, '}' expected"},
    {HEAD FILM "\"remarks\": \"a\", \"remarks\": \"b\"}",
     "line 3, column 25: broken JSON, duplicate object key"},
    {HEAD FILM "\"remarks\": \"\xFF\"}", "line 3, column 12: broken JSON, unable to decode byte"},
    {HEAD FILM "\"remarks\": \"\\u0000\"}", "line 3, column 19: broken JSON, \\u0000 is not"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1e999, \"y\": 1}}}",
     "line 3, column 26: broken JSON, real number overflow"},
    {HEAD FILM "\"remarks\": NaN}", "line 3, column 14: broken JSON, invalid token"},
    {HEAD FILM "\"remarks\": \"a\"} x", "line 3, column 17: broken JSON, end of file expected"},
    /* what it is */
    {"[]",
     "line 1, column 1: the document is not an object: give {\"format\": ..., \"film\": ...}"},
    {"{}", "line 1, column 1: format is missing: this is no sheet"},
    {"{\"format\": \"other\"}",
     "line 1, column 12: format is not \"plumbrule-sheet\": this is no sheet"},
    {"{\"format\": 5}", "line 1, column 12: format is not \"plumbrule-sheet\": this is no sheet"},
    {"{\"format\": \"plumbrule-sheet\"}", "line 1, column 1: version is missing: add it"},
    {"{\"format\": \"plumbrule-sheet\", \"version\": 2, \"film\": 3}",
     "line 1, column 42: version 2 is newer than this program reads: update the program"},
    {"{\"format\": \"plumbrule-sheet\", \"version\": 0}",
     "line 1, column 42: version is no version: give 1"},
    {"{\"format\": \"plumbrule-sheet\", \"version\": 1.0}",
     "line 1, column 42: version is no version: give 1"},
    {HEAD "\"remarks\": \"\"}", "line 1, column 1: film is missing: add it"},
    /* the film */
    {HEAD "\"film\": null}", "line 2, column 9: film is not an object: give {\"file\": ...}"},
    {HEAD "\"film\": {}}", "line 2, column 9: film.file is missing: add it"},
    {HEAD "\"film\": {\"file\": \"\"}}", "line 2, column 18: film.file is empty: fill it in"},
    {HEAD "\"film\": {\"file\": 5}}",
     "line 2, column 18: film.file is not a text: put it in quotes"},
    {HEAD "\"film\": {\"file\": \"a\\u001bb\"}}",
     "line 2, column 18: film.file holds a control character: take it out"},
    {HEAD "\"film\": {\"file\": \"a\\nb\"}}",
     "line 2, column 18: film.file holds a control character: take it out"},
    {HEAD "\"film\": {\"file\": \"a\xC2\x9B\"}}",
     "line 2, column 18: film.file holds a control character: take it out"},
    {HEAD "\"film\": {\"file\": \"a\", \"sha256\": \"ABCDEF\"}}",
     "line 2, column 33: film.sha256 is no SHA-256: give 64 hex digits in lower case, or leave it "
     "out"},
    {HEAD "\"film\": {\"file\": \"a\", \"width\": 10.5}}",
     "line 2, column 32: film.width is not a whole number: give whole pixels, 1 to 1000000"},
    {HEAD "\"film\": {\"file\": \"a\", \"height\": -1}}",
     "line 2, column 33: film.height is out of range: give whole pixels, 1 to 1000000"},
    {HEAD "\"film\": {\"file\": \"a\", \"taken\": \"2026-02-29\"}}",
     "line 2, column 32: film.taken is no date: give YYYY-MM-DD, a real day"},
    {HEAD "\"film\": {\"file\": \"a\", \"sensor_mm\": 501}}",
     "line 2, column 36: film.sensor_mm is out of range: give millimetres, above 0 and at most "
     "500"},
    /* the site */
    {HEAD FILM "\"site\": {\"tooth\": 35}}",
     "line 3, column 19: site.tooth is not a text: put the tooth's number in quotes"},
    {HEAD FILM "\"site\": {\"tooth\": \"49\"}}",
     "line 3, column 19: site.tooth is no tooth in FDI notation: give 11 to 48, or 51 to 85 for "
     "deciduous teeth"},
    {HEAD FILM "\"site\": {\"tooth\": \"35\", \"notation\": \"universal\"}}",
     "line 3, column 19: site.tooth is no tooth in Universal notation: give 1 to 32 or A to T"},
    {HEAD FILM "\"mesial\": {\"tooth\": \"K\"}}", "line 3, column 21: mesial.tooth is no tooth"},
    {HEAD FILM "\"site\": {\"seen_from\": \"palatal\"}}",
     "line 3, column 23: site.seen_from is none of the words it may be: give facial or lingual"},
    {HEAD FILM "\"site\": {\"notation\": \"\"}}",
     "line 3, column 22: site.notation is none of the words it may be: give fdi or universal"},
    /* gauges */
    {HEAD FILM "\"gauges\": {}}",
     "line 3, column 11: gauges is not a list: give [{\"kind\": ..., \"mm\": ...}, ...]"},
    {HEAD FILM "\"gauges\": [null]}",
     "line 3, column 12: gauges[0] is not an object: give {\"kind\": ..., \"mm\": ...}"},
    {HEAD FILM "\"gauges\": [{\"kind\": \"length\", \"mm\": 1},\n  {\"kind\": \"length\"}]}",
     "line 4, column 3: gauges[1].mm is missing: add it"},
    {HEAD FILM "\"gauges\": [{\"mm\": 1}]}",
     "line 3, column 12: gauges[0].kind is missing: add it"},
    {HEAD FILM "\"gauges\": [{\"kind\": \"length\", \"mm\": 0}]}",
     "line 3, column 37: gauges[0].mm is out of range: give millimetres, above 0 and at most 500"},
    {HEAD FILM "\"gauges\": [{\"kind\": \"length\", \"mm\": 1, \"u_mm\": -0.1}]}",
     "line 3, column 48: gauges[0].u_mm is out of range: give millimetres, 0 to 500"},
    {HEAD FILM "\"gauges\": [{\"kind\": \"length\", \"mm\": 1, \"tip\": \"sharp\"}]}",
     "line 3, column 47: gauges[0].tip is none of the words it may be: give flat, round or cone"},
    {HEAD FILM "\"gauges\": [{\"kind\": \"length\", \"mm\": 1, \"ends\": [null]}]}",
     "line 3, column 48: gauges[0].ends is not a list of two marks: give [{\"x\": ..., \"y\": "
     "...}, "
     "{...}]"},
    {HEAD FILM "\"gauges\": [1,1,1,1,1,1,1,1,1]}",
     "line 3, column 11: gauges is too long: at most 8 entries, it has 9"},
    {HEAD FILM "\"bounds\": [1,1,1,1,1,1,1,1,1]}",
     "line 3, column 11: bounds is too long: at most 8 entries, it has 9"},
    /* marks */
    {HEAD FILM "\"mesial\": {\"apex\": {\"y\": 1,\n \"x\": \"12\"}}}",
     "line 4, column 7: mesial.apex.x is not a number: give pixels, -1000000 to 1000000"},
    {HEAD FILM "\"mesial\": {\"apex\": [1, 2]}}",
     "line 3, column 20: mesial.apex is not an object: give a mark {\"x\": ..., \"y\": ...}"},
    {HEAD FILM "\"pin\": {\"tip\": {\"y\": 1}}}",
     "line 3, column 16: pin.tip.x is missing: add it"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1, \"y\": null}}}",
     "line 3, column 30: pin.tip.y is not a number"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1000000.1, \"y\": 1}}}",
     "line 3, column 22: pin.tip.x is out of range"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1, \"y\": 1, \"sd\": 10001}}}",
     "line 3, column 39: pin.tip.sd is out of range: give pixels, 0 to 10000"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1, \"y\": 1, \"by\": \"me\"}}}",
     "line 3, column 39: pin.tip.by is none of the words it may be: give hand, found, moved or "
     "carried"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1, \"y\": 1, \"confirmed\": \"true\"}}}",
     "line 3, column 46: pin.tip.confirmed is neither true nor false"},
    {HEAD FILM "\"pin\": {\"tip\": {\"x\": 1, \"y\": 1, \"confirmed\": 1}}}",
     "line 3, column 46: pin.tip.confirmed is neither true nor false"},
    {HEAD FILM "\"pin\": {\"axis\": [{\"x\": 1, \"y\": 1}, {\"x\": 1, \"y\": []}]}}",
     "line 3, column 50: pin.axis[1].y is not a number"},
    {HEAD FILM "\"distal\": {\"far\": [{\"x\": 1, \"y\": 1},\n null]}}",
     "line 4, column 2: distal.far[1] is not an object"},
    {HEAD FILM "\"bounds\": [{\"path\": [{\"x\": true, \"y\": 1}]}]}",
     "line 3, column 28: bounds[0].path[0].x is not a number"},
    /* plan, observed, remarks */
    {HEAD FILM "\"plan\": {\"length_mm\": 11}}",
     "line 3, column 9: plan.diameter_mm is missing: add it"},
    {HEAD FILM "\"plan\": {\"length_mm\": 11, \"diameter_mm\": 4, \"on\": \"tooth\"}}",
     "line 3, column 51: plan.on is none of the words it may be: give pin or bisector"},
    {HEAD FILM "\"observed\": {\"roots\": 10}}",
     "line 3, column 23: observed.roots is out of range: give a whole number, 1 to 9"},
    {HEAD FILM "\"remarks\": \"a\\rb\"}",
     "line 3, column 12: remarks holds a control character: take it out"},
};

static void faults_say_where_and_what(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct sheet s;
        struct err err = {0};
        int rc = plumb_sheet_parse(faults[i].text, strlen(faults[i].text), &s, NULL, &err);
        if (rc != ERR_FORMAT || strncmp(err.text, faults[i].want, strlen(faults[i].want)) != 0)
            fail_msg("%s\ngives %d \"%s\"\nnot \"%s\"", faults[i].text, rc, err.text,
                     faults[i].want);
        assert_int_equal(plumb_sheet_marks(&s, NULL, 0), 0); /* released */
        assert_null(s.kept);
    }
}

/* --- every key ----------------------------------------------------------------------------------
 */

/* The JSON kinds that take each other's place; a whole number and another are one kind. */
static const char *const other[] = {"true", "null", "7", "-2.5", "\"x\"", "[]", "{}"};
enum { OTHERS = sizeof other / sizeof other[0], OTHER_TRUE = 0, OTHER_NULL = 1 };

static bool same_kind(const json_t *a, const json_t *b)
{
    return json_typeof(a) == json_typeof(b) || (json_is_number(a) && json_is_number(b));
}

/* Where `true` stands, by looking for it in the text; the example's own stands at "confirmed". */
static void where_true(const char *text, char *out, size_t size)
{
    size_t line = 1, column = 1;
    static const char own[] = "\"confirmed\": true";
    const char *to = strstr(text, "true"), *mine = strstr(text, own);
    if (mine != NULL && to > mine && to < mine + sizeof own)
        to = strstr(to + 1, "true");
    for (const char *p = text; p < to; p++) {
        column = *p == '\n' ? 1 : column + (((unsigned char)*p & 0xC0) != 0x80);
        line += *p == '\n';
    }
    snprintf(out, size, "line %zu, column %zu: ", line, column);
}

/* doc is the whole document with one value changed from `was` to other[k]. */
static void try_changed(json_t *doc, const json_t *was, size_t k)
{
    json_t *now = json_loads(other[k], JSON_DECODE_ANY, NULL);
    char *text = json_dumps(doc, JSON_INDENT(1)), where[60];
    struct sheet s;
    struct err err = {0};
    int rc = plumb_sheet_parse(text, strlen(text), &s, NULL, &err);
    bool may_pass = k == OTHER_NULL || same_kind(was, now);
    if (rc == 0 && !may_pass)
        fail_msg("%s passes for another kind in\n%s", other[k], text);
    if (rc != 0 && strncmp(err.text, "line ", 5) != 0)
        fail_msg("no line in: %s", err.text);
    where_true(text, where, sizeof where);
    if (k == OTHER_TRUE && !may_pass && strncmp(err.text, where, strlen(where)) != 0)
        fail_msg("%s is not at %s", err.text, where);
    plumb_sheet_release(&s);
    free(text);
    json_decref(now);
}

static void change_each(json_t *doc, json_t *v);

static void change_member(json_t *doc, json_t *object, const char *key)
{
    json_t *was = json_incref(json_object_get(object, key));
    for (size_t k = 0; k < OTHERS; k++) {
        json_object_set_new(object, key, json_loads(other[k], JSON_DECODE_ANY, NULL));
        try_changed(doc, was, k);
    }
    json_object_set_new(object, key, was);
    change_each(doc, was);
}

static void change_element(json_t *doc, json_t *list, size_t i)
{
    json_t *was = json_incref(json_array_get(list, i));
    for (size_t k = 0; k < OTHERS; k++) {
        json_array_set_new(list, i, json_loads(other[k], JSON_DECODE_ANY, NULL));
        try_changed(doc, was, k);
    }
    json_array_set_new(list, i, was);
    change_each(doc, was);
}

static void change_each(json_t *doc, json_t *v)
{
    const char *key;
    json_t *member;
    json_object_foreach(v, key, member) change_member(doc, v, key);
    for (size_t i = 0; i < json_array_size(v); i++)
        change_element(doc, v, i);
}

/* With a second mark in place of the null in the example, so that every value has a kind. */
static void every_value_refuses_other_kinds(void **state)
{
    (void)state;
    json_t *doc = json_loads(sheet_example_text, 0, NULL);
    json_t *ends = json_object_get(json_array_get(json_object_get(doc, "gauges"), 1), "ends");
    json_array_set_new(ends, 1, json_deep_copy(json_array_get(ends, 0)));
    change_each(doc, doc);
    json_decref(doc);
}

/* --- writing what cannot be ---------------------------------------------------------------------
 */

static void spoil_x(struct sheet *s)
{
    s->pin.axis[1].x = (double)NAN;
}
static void spoil_y(struct sheet *s)
{
    s->side[DISTAL].near.at[1].y = (double)INFINITY;
}
static void spoil_sd(struct sheet *s)
{
    s->pin.tip.sd = -1.0;
}
static void spoil_by(struct sheet *s)
{
    s->pin.tip.by = (enum mark_by)4;
}
static void spoil_mm(struct sheet *s)
{
    s->gauge[1].mm = 0.0;
}
static void spoil_tooth(struct sheet *s)
{
    s->site.tooth = 49;
}
static void spoil_date(struct sheet *s)
{
    strcpy(s->film.taken, "2026-13-01");
}
static void spoil_text(struct sheet *s)
{
    strcpy(s->observed.infection, "\xC3");
}
static void spoil_end(struct sheet *s)
{
    memset(s->film.stage, 'x', sizeof s->film.stage);
}
static void spoil_file(struct sheet *s)
{
    s->film.file[0] = '\0';
}

static const struct {
    void (*spoil)(struct sheet *s);
    const char *want;
} unwritable[] = {
    {spoil_x, "pin.axis[1].x is out of range"}, {spoil_y, "distal.near[1].y is out of range"},
    {spoil_sd, "pin.tip.sd is out of range"},   {spoil_by, "pin.tip.by has no word"},
    {spoil_mm, "gauges[1].mm is out of range"}, {spoil_tooth, "site.tooth is no tooth"},
    {spoil_date, "film.taken is no date"},      {spoil_text, "observed.infection is not UTF-8"},
    {spoil_end, "film.stage has no end"},       {spoil_file, "film.file is empty"},
};

static void nothing_unreadable_is_written(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof unwritable / sizeof unwritable[0]; i++) {
        struct sheet s;
        struct err err = {0};
        struct buf out = {0};
        sheet_example(&s);
        unwritable[i].spoil(&s);
        assert_int_equal(plumb_sheet_print(&s, &out, &err), ERR_ARG);
        if (strncmp(err.text, unwritable[i].want, strlen(unwritable[i].want)) != 0)
            fail_msg("\"%s\" is not \"%s\"", err.text, unwritable[i].want);
        assert_null(out.data);
        plumb_sheet_release(&s);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(example_reads_as_written_by_hand),
        cmocka_unit_test(example_writes_as_written_by_hand),
        cmocka_unit_test(layout_does_not_matter),
        cmocka_unit_test(numbers_are_short),
        cmocka_unit_test(numbers_survive_a_second_reading),
        cmocka_unit_test(faults_say_where_and_what),
        cmocka_unit_test(every_value_refuses_other_kinds),
        cmocka_unit_test(nothing_unreadable_is_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
