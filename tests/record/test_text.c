/*
 * The report, JSON and CSV of an invented site: width, words, completeness, sameness.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plumbrule/record.h"
#include "tests/support/site.h"

static void make_exam(struct exam *e, enum mark_by by)
{
    struct site s;
    struct err err = {0};
    *e = (struct exam){0};
    site_default(&s);
    site_sheet(&s, &(struct placing){12.0, 0.025, false, 35}, 1.0, &e->sheet);
    e->sheet.pin.tip.by = by;
    strcpy(e->sheet.remarks,
           "A remark of many words that has to be broken over several lines of "
           "the page, with a word that is far too long to fit: "
           "Donaudampfschifffahrtselektrizit\u00e4tenhauptbetriebswerkbauunterbeamten"
           "gesellschaft.");
    strcpy(e->sheet.observed.facial_plate, "missing 6 mm");
    e->film.width = e->film.height = 3000;
    e->film.depth = 16;
    strcpy(e->film.sha256, "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef");
    if (plumb_meas_config_default(&e->config, &err) != 0 || plumb_exam_measure(e, &err) != 0)
        fail_msg("%s", err.text);
}

static void text_of(const struct exam *e, struct buf *out)
{
    struct err err = {0};
    *out = (struct buf){0};
    if (plumb_rec_text(e, out, &err) != 0)
        fail_msg("%s", err.text);
}

static void no_line_is_wider_than_72(void **state)
{
    (void)state;
    struct exam e;
    struct buf text;
    make_exam(&e, MARK_HAND);
    text_of(&e, &text);
    assert_true(plumb_text_is_utf8(text.data, text.len));
    char *rest = NULL;
    for (char *line = strtok_r(text.data, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest))
        if (plumb_text_length(line) > 72)
            fail_msg("%zu columns: %s", plumb_text_length(line), line);
    plumb_buf_release(&text);
    plumb_exam_release(&e);
}

/* Broken lines to one. */
static void unfold(char *text)
{
    for (char *p = text; *p; p++)
        if (*p == '\n') {
            *p = ' ';
            while (p[1] == ' ')
                memmove(p + 1, p + 2, strlen(p + 2) + 1);
        }
}

/* The cautions that a report must carry, and never a verdict. */
static void cautions_and_no_verdict(void **state)
{
    (void)state;
    static const char *const wanted[] = {"mesio-distal angles only",
                                         "facial or the lingual plate",
                                         "plane of the gauge",
                                         "is a proposal",
                                         "no diagnosis",
                                         "licensed clinician",
                                         "not visible on a film"};
    static const char *const banned[] = {"safe", "acceptable", "recommend", "adequate", "ideal"};
    struct exam e;
    struct buf text;
    make_exam(&e, MARK_HAND);
    text_of(&e, &text);
    unfold(text.data);
    for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++)
        if (strstr(text.data, wanted[i]) == NULL)
            fail_msg("the report lacks \"%s\"", wanted[i]);
    for (size_t i = 0; i < sizeof banned / sizeof banned[0]; i++)
        if (strstr(text.data, banned[i]) != NULL)
            fail_msg("the report says \"%s\"", banned[i]);
    plumb_buf_release(&text);
    plumb_exam_release(&e);
}

/* A value never runs on from its words, however long these are; and which intervals are simulated
 * is told once, by number. */
static void values_stand_apart(void **state)
{
    (void)state;
    struct exam e;
    struct buf table = {0};
    char numbers[512] = "Intervals of ", value[96];
    size_t n = 0;
    make_exam(&e, MARK_HAND);
    strcpy(e.sheet.bound[0].what, "roof of the inferior canal");
    e.result.quantity[3].monte_carlo = e.result.quantity[5].monte_carlo = true;
    assert_int_equal(plumb_rec_table(&e, &table, NULL), 0);
    for (size_t i = 0; i < e.result.n_quantities; i++) {
        const struct meas_quantity *q = &e.result.quantity[i];
        if (q->monte_carlo)
            n += (size_t)snprintf(numbers + strlen(numbers), 32, "%s%zu", n ? ", " : "", i + 1);
        char head[32];
        snprintf(head, sizeof head, "\n%4zu  ", i + 1);
        const char *line = strstr(table.data, head);
        assert_non_null(line);
        plumb_meas_value_words(q, value);
        const char *at = strstr(line + strlen(head), value);
        assert_non_null(at);
        if (strncmp(at - 2, "  ", 2) != 0)
            fail_msg("%.*s", (int)strcspn(line + 1, "\n"), line + 1);
    }
    assert_true(n > 2);
    unfold(table.data);
    if (strstr(table.data, numbers) == NULL)
        fail_msg("not told: %s", numbers);
    plumb_buf_release(&table);
    plumb_exam_release(&e);
}

static void found_marks_are_proposed(void **state)
{
    (void)state;
    for (int by = MARK_HAND; by <= MARK_CARRIED; by++) {
        struct exam e;
        struct buf text;
        make_exam(&e, (enum mark_by)by);
        text_of(&e, &text);
        assert_int_equal(strstr(text.data, "PROPOSED") != NULL,
                         by == MARK_FOUND || by == MARK_CARRIED);
        plumb_buf_release(&text);
        plumb_exam_release(&e);
    }
}

/* What a person has confirmed is no proposal, and still no mark placed by hand. */
static void the_record_tells_how_each_mark_was_placed(void **state)
{
    (void)state;
    static const struct {
        struct mark how;
        const char *words;
        bool proposed;
    } row[] = {
        {{.by = MARK_HAND}, "[pin.tip]: by hand,", false},
        {{.by = MARK_FOUND}, "[pin.tip]: found, not confirmed,", true},
        {{.by = MARK_FOUND, .confirmed = true}, "[pin.tip]: found, confirmed,", false},
        {{.by = MARK_MOVED}, "[pin.tip]: moved by hand,", false},
        {{.by = MARK_CARRIED}, "[pin.tip]: carried over, not confirmed,", true},
        {{.by = MARK_CARRIED, .confirmed = true}, "[pin.tip]: carried over, confirmed,", false},
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        struct exam e;
        struct buf text, table = {0};
        struct err err = {0};
        make_exam(&e, row[i].how.by);
        e.sheet.pin.tip.confirmed = row[i].how.confirmed;
        text_of(&e, &text);
        if (strstr(text.data, row[i].words) == NULL)
            fail_msg("not told: %s", row[i].words);
        assert_int_equal(strstr(text.data, "PROPOSED") != NULL, row[i].proposed);
        assert_int_equal(plumb_rec_table(&e, &table, &err), 0);
        assert_int_equal(strstr(table.data, "PROPOSED") != NULL, row[i].proposed);
        plumb_buf_release(&table);
        plumb_buf_release(&text);
        plumb_exam_release(&e);
    }
}

/* Every quantity stands in all three, with the same number beside it. */
static void text_json_and_csv_agree(void **state)
{
    (void)state;
    struct exam e;
    struct buf text, json = {0}, csv = {0};
    struct err err = {0};
    make_exam(&e, MARK_HAND);
    text_of(&e, &text);
    assert_int_equal(plumb_rec_json(&e, false, &json, &err), 0);
    assert_int_equal(plumb_rec_csv(&e, true, &csv, &err), 0);
    json_t *doc = json_loads(json.data, 0, NULL);
    assert_non_null(doc);
    json_t *list = json_object_get(doc, "quantities");
    assert_int_equal(json_array_size(list), e.result.n_quantities);
    assert_true(e.result.n_quantities > 20);
    for (size_t i = 0; i < e.result.n_quantities; i++) {
        const struct meas_quantity *q = &e.result.quantity[i];
        json_t *j = json_array_get(list, i);
        assert_string_equal(json_string_value(json_object_get(j, "id")), q->id);
        assert_int_equal(json_integer_value(json_object_get(j, "number")), i + 1);
        assert_true(fabs(json_number_value(json_object_get(j, "value")) - q->v.value) <=
                    1e-8 * fabs(q->v.value));
        assert_true(json_number_value(json_object_get(j, "U95")) >= 0.0);
        char numbered[128];
        snprintf(numbered, sizeof numbered, "%4zu  %.*s", i + 1, (int)strcspn(q->label, ","),
                 q->label); /* a bound's name stands after that */
        if (strstr(text.data, numbered) == NULL)
            fail_msg("the text lacks \"%s\"", numbered);
        assert_non_null(strstr(csv.data, q->id));
    }
    assert_non_null(strstr(csv.data, ",at most 15 %; at most 33 %\r\n")); /* every limit of it */
    assert_int_equal(strcmp(json_string_value(json_object_get(doc, "format")), "plumbrule-results"),
                     0);
    json_decref(doc);
    plumb_buf_release(&text);
    plumb_buf_release(&json);
    plumb_buf_release(&csv);
    plumb_exam_release(&e);
}

/* The moment of deciding: what is measured with its limits, what somebody waits for and needs, what
 * the eye has seen, what nobody has recorded; every pair of pins and every bound; no verdict. */
static void the_worksheet_lists_all_there_is(void **state)
{
    (void)state;
    struct exam e;
    struct buf out = {0}, needs = {0};
    struct err err = {0};
    make_exam(&e, MARK_HAND);
    e.sheet.observed.roots = 1;
    e.sheet.side[DISTAL].crest.set = false;
    assert_int_equal(plumb_exam_measure(&e, &err), 0);
    assert_int_equal(plumb_rec_worksheet(&e, &out, &err), 0);
    unfold(out.data);
    static const char *const said[] = {
        "[ ] measured     pins 1-2, side to side: ",
        "[ ] measured     tip to bound 1, canal roof, nearest: ",
        "[ ] measured     pin against the mesial root axis (as marked): ",
        "[ ] measured     shoulder to mesial, onto the bisector: ",
        "[ ] not measured tip below the distal crest: needs the distal crest",
        "[ ] seen         number of roots: 1",
        "(not visible on a film): ",
        "[ ] not recorded infection: -",
        "common practice, no source",
    };
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++)
        if (strstr(out.data, said[i]) == NULL)
            fail_msg("the worksheet lacks \"%s\":\n%s", said[i], out.data);
    assert_int_equal(plumb_rec_missing(&e, &needs, &err), 0);
    assert_non_null(strstr(needs.data, "tip below the distal crest [depth.distal] needs the distal "
                                       "crest\n    [distal.crest]"));
    assert_non_null(strstr(needs.data, "left out, since no lean out of the film is larger than its "
                                       "uncertainty:\n    level.*.corrected"));
    plumb_buf_release(&needs);
    plumb_buf_release(&out);
    plumb_exam_release(&e);
}

/* What warns in the report warns on the worksheet too, above the first number. */
static void the_worksheet_warns_as_the_report_does(void **state)
{
    (void)state;
    static const char *const warnings[] = {"PROPOSED: some marks", "TAKE NOTE\n  - a thing to note",
                                           "  - a thing of the sheet"};
    for (int by = MARK_HAND; by <= MARK_FOUND; by++) {
        struct exam e;
        struct buf out = {0}, text;
        struct err err = {0};
        make_exam(&e, (enum mark_by)by);
        bool warned = by == MARK_FOUND;
        e.result.warnings.n = 0;
        if (warned) {
            plumb_sheet_notes_add(&e.result.warnings, "a thing to note");
            plumb_sheet_notes_add(&e.notes, "a thing of the sheet");
        }
        text_of(&e, &text);
        assert_int_equal(plumb_rec_worksheet(&e, &out, &err), 0);
        for (size_t i = 0; i < sizeof warnings / sizeof warnings[0]; i++) {
            const char *at = strstr(out.data, warnings[i]);
            assert_int_equal(at != NULL, warned);
            assert_int_equal(strstr(text.data, warnings[i]) != NULL, warned);
            assert_true(at == NULL || at < strstr(out.data, "ON THE FILM"));
        }
        plumb_buf_release(&text);
        plumb_buf_release(&out);
        plumb_exam_release(&e);
    }
}

/* An interval that reaches farther to one side is never told as value and half its width. */
static void a_lopsided_interval_is_told_by_its_ends(void **state)
{
    (void)state;
    static const struct {
        double value, lo, hi;
        bool below;
        const char *unit, *words;
    } row[] = {
        {4.52, 3.71, 7.42, false, "deg", "4.5\u00b0 (3.7 to 7.4)"},
        {2.447, 2.373, 2.566, false, "mm", "2.45 mm (2.37 to 2.57)"}, /* half of it is below 0.1 */
        {4.52, 2.67, 6.37, false, "deg", "4.5 \u00b1 1.9\u00b0"},
        {4.52, 2.70, 6.38, false, "deg", "4.5 \u00b1 1.8\u00b0"}, /* even but for the rounding */
        {-0.12, -0.95, 0.21, false, "mm", "-0.12 mm (-0.95 to 0.21)"},
        {-12.12, -22.95, 10.21, false, "mm", "-12 mm (-23 to 10)"},
        {3.00, 0.0, 8.12, true, "deg", "below 8.1\u00b0"},
    };
    struct exam e;
    make_exam(&e, MARK_HAND);
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        struct buf out[3] = {0};
        struct err err = {0};
        struct meas_quantity *q = &e.result.quantity[1];
        while (strcmp(q->id, "clearance.mesial") != 0)
            q++;
        q->v.value = row[i].value;
        q->v.lo = row[i].lo;
        q->v.hi = row[i].hi;
        q->U = 0.5 * (row[i].hi - row[i].lo);
        q->below_only = row[i].below;
        q->unit = row[i].unit;
        assert_int_equal(plumb_rec_text(&e, &out[0], &err), 0);
        assert_int_equal(plumb_rec_worksheet(&e, &out[1], &err), 0);
        assert_int_equal(plumb_rec_budget(&e, &out[2], &err), 0);
        for (int k = 0; k < 3; k++) {
            unfold(out[k].data);
            if (strstr(out[k].data, row[i].words) == NULL)
                fail_msg("no \"%s\" in:\n%s", row[i].words, out[k].data);
            plumb_buf_release(&out[k]);
        }
    }
    plumb_exam_release(&e);
}

static void same_sheet_same_bytes(void **state)
{
    (void)state;
    struct buf text[2];
    for (int i = 0; i < 2; i++) {
        struct exam e;
        make_exam(&e, MARK_HAND);
        text_of(&e, &text[i]);
        plumb_exam_release(&e);
    }
    assert_int_equal(text[0].len, text[1].len);
    assert_memory_equal(text[0].data, text[1].data, text[0].len);
    plumb_buf_release(&text[0]);
    plumb_buf_release(&text[1]);
}

/* A fixed date only when the environment fixes it: 2026-03-02 is day 20514 since 1970. */
static void date_from_the_environment(void **state)
{
    (void)state;
    struct exam e;
    struct buf text;
    make_exam(&e, MARK_HAND);
    setenv("SOURCE_DATE_EPOCH", "1772409600", 1);
    text_of(&e, &text);
    assert_non_null(strstr(text.data, "2026-03-02"));
    plumb_buf_release(&text);
    unsetenv("SOURCE_DATE_EPOCH");
    text_of(&e, &text);
    assert_null(strstr(text.data, "Made "));
    plumb_buf_release(&text);
    plumb_exam_release(&e);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_line_is_wider_than_72),
        cmocka_unit_test(cautions_and_no_verdict),
        cmocka_unit_test(values_stand_apart),
        cmocka_unit_test(found_marks_are_proposed),
        cmocka_unit_test(the_record_tells_how_each_mark_was_placed),
        cmocka_unit_test(text_json_and_csv_agree),
        cmocka_unit_test(the_worksheet_lists_all_there_is),
        cmocka_unit_test(the_worksheet_warns_as_the_report_does),
        cmocka_unit_test(a_lopsided_interval_is_told_by_its_ends),
        cmocka_unit_test(same_sheet_same_bytes),
        cmocka_unit_test(date_from_the_environment),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
