/*
 * The demo films as a series against the generator's own truth: every change that the generator
 * knows lies within its interval, widened to what so many looks may miss; and the forms it takes:
 * text of 72 columns, JSON, CSV, the plot, the record. Invented data.
 */
#include "tests/support/close.h"

#include <dirent.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "plumbrule/record.h"

static const char *const sheets[] = {
    "demo-images/four-months.sheet.json", "demo-images/before-extraction.sheet.json",
    "demo-images/first-drill.sheet.json", "demo-images/second-drill.sheet.json",
    "demo-images/grafted.sheet.json"};
enum { FILMS = sizeof sheets / sizeof sheets[0], COLUMNS = 72 };

static void open_demo(struct exam_series *s)
{
    struct exam_options o;
    struct err err = {0};
    plumb_exam_options_default(&o);
    if (plumb_exam_series_open(sheets, FILMS, &o, false, 2, s, &err) != 0)
        fail_msg("%s", err.text);
}

/* --- truth --------------------------------------------------------------------------------------
 */

static json_t *truth_of(const char *sheet_path)
{
    char path[160];
    snprintf(path, sizeof path, "%.*s.truth.json",
             (int)(strlen(sheet_path) - strlen(".sheet.json")), sheet_path);
    json_t *doc = json_load_file(path, 0, NULL);
    assert_non_null(doc);
    return doc;
}

static double value_in(const json_t *doc, const char *id)
{
    const json_t *v = json_object_get(json_object_get(doc, "values"), id);
    return v ? json_number_value(json_object_get(v, "film")) : (double)NAN;
}

/* NaN: the generator does not know it. */
static double truth_in(const json_t *doc, const char *id)
{
    double share[2] = {value_in(doc, "cej_crest.mesial") / value_in(doc, "root_length.mesial"),
                       value_in(doc, "cej_crest.distal") / value_in(doc, "root_length.distal")};
    if (strcmp(id, "rbl_pct.mesial") == 0)
        return 100.0 * share[0];
    if (strcmp(id, "rbl_pct.distal") == 0)
        return 100.0 * share[1];
    return value_in(doc, id);
}

static int check_course(const struct meas_course *c, json_t *const truth[FILMS], int *held)
{
    int checked = 0;
    for (size_t i = 0; i < c->n_changes; i++) {
        const struct meas_change *g = &c->change[i];
        double want = truth_in(truth[g->to], c->id) - truth_in(truth[g->from], c->id);
        if (isnan(want))
            continue;
        if (fabs(g->value - want) > 3.0 * g->u)
            fail_msg("%s, films %zu to %zu: %.3f, u %.3f, true %.3f", c->id, g->from + 1, g->to + 1,
                     g->value, g->u, want);
        *held += fabs(g->value - want) <= g->U;
        checked++;
    }
    return checked;
}

static void changes_hold_the_truth(void **state)
{
    (void)state;
    struct exam_series s;
    json_t *truth[FILMS];
    int checked = 0, held = 0;
    open_demo(&s);
    for (size_t i = 0; i < FILMS; i++)
        truth[i] = truth_of(s.exam[i].sheet_path);
    for (size_t i = 0; i < s.result.n_courses; i++)
        checked += check_course(&s.result.course[i], truth, &held);
    assert_true(checked >= 60);
    assert_true(held >= 0.9 * checked);
    for (size_t i = 0; i < FILMS; i++)
        json_decref(truth[i]);
    plumb_exam_series_release(&s);
}

static void films_by_date(void **state)
{
    (void)state;
    struct exam_series s;
    open_demo(&s);
    assert_int_equal(s.n, FILMS);
    assert_string_equal(s.exam[0].sheet.film.file, "before-extraction.png");
    assert_string_equal(s.exam[3].sheet.film.file, "grafted.jpg"); /* of one day: as they came */
    assert_string_equal(s.exam[4].sheet.film.taken, "2026-07-06");
    assert_int_equal(s.result.day[4], 126);
    for (size_t i = 0; i < FILMS; i++) {
        assert_null(s.exam[i].film.grey);
        assert_int_equal(strlen(s.exam[i].sheet.film.sha256), 64);
    }
    plumb_exam_series_release(&s);
}

/* --- forms --------------------------------------------------------------------------------------
 */

static void check_columns(const char *text)
{
    for (const char *line = text; *line != '\0';) {
        size_t n = strcspn(line, "\n"), columns = 0;
        for (size_t i = 0; i < n; i++)
            columns += ((unsigned char)line[i] & 0xC0) != 0x80;
        if (columns > COLUMNS || (n > 0 && line[n - 1] == ' '))
            fail_msg("'%.*s' is %zu columns", (int)n, line, columns);
        line += n + (line[n] == '\n');
    }
}

static size_t count_changes(const struct exam_series *s)
{
    size_t n = 0;
    for (size_t i = 0; i < s->result.n_courses; i++)
        n += s->result.course[i].n_changes;
    return n;
}

/* Of n intervals of 95 % chance makes n/20 miss on average: stated as such, not as a whole number.
 */
static void check_chance(const struct exam_series *s, const char *text)
{
    size_t n = 0;
    double misses = 0.0;
    const char *said = strstr(text, "by chance");
    assert_non_null(said);
    said = strstr(said, "the");
    assert_non_null(said);
    assert_int_equal(sscanf(said, "the %zu here %lf on average", &n, &misses), 2);
    assert_int_equal(n, count_changes(s));
    assert_close(misses, 0.05 * (double)n, 1e-9);
}

static void the_text(void **state)
{
    (void)state;
    struct exam_series s;
    struct buf text = {0};
    open_demo(&s);
    assert_int_equal(plumb_rec_series_text(&s, &text, NULL), 0);
    check_columns(text.data);
    static const char *const words[] = {"Site   35, lower left second premolar",
                                        "Films  5, 2026-03-02 to 2026-07-06, 126 days",
                                        "films 1 to 5, 126 days: no change detectable below",
                                        "a change of the pin's place",
                                        "films 1, 4, 5: scale of last resort",
                                        "judgement of the licensed clinician come first"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strstr(text.data, words[i]) == NULL)
            fail_msg("the text lacks '%s'", words[i]);
    check_chance(&s, text.data);
    assert_null(strstr(text.data, "PROPOSED"));
    plumb_buf_release(&text);
    s.exam[2].sheet.pin.tip.by = MARK_FOUND;
    s.exam[2].sheet.pin.tip.confirmed = false;
    assert_int_equal(plumb_rec_series_text(&s, &text, NULL), 0);
    assert_non_null(strstr(text.data, "PROPOSED"));
    plumb_buf_release(&text);
    plumb_exam_series_release(&s);
}

static void the_document(void **state)
{
    (void)state;
    struct exam_series s;
    struct buf text = {0};
    open_demo(&s);
    for (int pretty = 0; pretty < 2; pretty++) {
        assert_int_equal(plumb_rec_series_json(&s, pretty, &text, NULL), 0);
        json_t *doc = json_loads(text.data, 0, NULL), *course;
        size_t i, n = 0;
        assert_non_null(doc);
        assert_string_equal(json_string_value(json_object_get(doc, "format")), "plumbrule-series");
        assert_int_equal(json_integer_value(json_object_get(doc, "version")), 1);
        assert_int_equal(json_array_size(json_object_get(doc, "films")), FILMS);
        json_array_foreach(json_object_get(doc, "courses"), i, course) n +=
            json_array_size(json_object_get(course, "changes"));
        assert_int_equal(n, count_changes(&s));
        json_decref(doc);
        plumb_buf_release(&text);
    }
    plumb_exam_series_release(&s);
}

/* As many fields in every line; a change a line, and the lines through the values. */
static void the_lines(void **state)
{
    (void)state;
    struct exam_series s;
    struct buf text = {0};
    open_demo(&s);
    assert_int_equal(plumb_rec_series_csv(&s, &text, NULL), 0);
    size_t lines = 0, trends = 0;
    for (const char *line = text.data; *line != '\0'; lines++) {
        size_t n = strcspn(line, "\r"), commas = 0;
        for (size_t i = 0; i < n; i++)
            commas += line[i] == ',';
        assert_int_equal(commas, 15);
        line += n + 2;
    }
    for (size_t i = 0; i < s.result.n_courses; i++)
        trends += s.result.course[i].trend.set;
    assert_int_equal(lines, 1 + count_changes(&s) + trends);
    assert_true(trends >= 4);
    plumb_buf_release(&text);
    plumb_exam_series_release(&s);
}

static void read_bytes(const char *path, struct buf *out)
{
    assert_int_equal(plumb_file_read(path, 64 << 20, out, NULL), 0);
}

/* The next free revision; the same bytes; nothing else in the folder; the film is untouched. */
static void the_record(void **state)
{
    (void)state;
    char dir[] = "/tmp/plumbrule-series-XXXXXX";
    assert_non_null(mkdtemp(dir));
    struct exam_series s;
    struct rec_paths paths[2];
    struct buf bytes[2] = {{0}};
    open_demo(&s);
    for (int i = 0; i < 2; i++) {
        assert_int_equal(plumb_rec_series_write(&s, dir, &paths[i], NULL), 0);
        assert_int_equal(paths[i].revision, i + 1);
        read_bytes(paths[i].picture, &bytes[i]);
    }
    assert_string_equal(plumb_path_base(paths[0].picture), "series-35-r01.png");
    assert_int_equal(bytes[0].len, bytes[1].len);
    assert_memory_equal(bytes[0].data, bytes[1].data, bytes[0].len);
    assert_true(plumb_film_is_known(bytes[0].data, bytes[0].len));
    for (int i = 0; i < 2; i++) {
        assert_int_equal(unlink(paths[i].picture) + unlink(paths[i].text) + unlink(paths[i].json),
                         0);
        plumb_rec_paths_release(&paths[i]);
        plumb_buf_release(&bytes[i]);
    }
    assert_int_equal(rmdir(dir), 0); /* nothing but these was there */
    plumb_exam_series_release(&s);
}

/* A page is dark ink on paper, with ink in every quarter of its height. */
static void the_plot(void **state)
{
    (void)state;
    char path[] = "/tmp/plumbrule-plot-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    struct exam_series s;
    struct file_out f;
    struct film page;
    struct film_options o;
    open_demo(&s);
    assert_int_equal(plumb_file_out_open(&f, path, true, NULL), 0);
    assert_int_equal(plumb_rec_series_plot(&s, &f, NULL), 0);
    assert_int_equal(plumb_file_out_commit(&f, NULL), 0);
    plumb_film_options_default(&o);
    assert_int_equal(plumb_film_load(path, &o, &page, NULL), 0);
    for (size_t quarter = 0; quarter < 4; quarter++) {
        size_t dark = 0, from = quarter * page.height / 4, n = page.height / 4 * page.width;
        for (size_t i = 0; i < n; i++)
            dark += page.grey[from * page.width + i] < 0x6000;
        assert_true(dark > n / 500 && dark < n / 10);
    }
    plumb_film_release(&page);
    plumb_exam_series_release(&s);
    unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(changes_hold_the_truth),
        cmocka_unit_test(films_by_date),
        cmocka_unit_test(the_text),
        cmocka_unit_test(the_document),
        cmocka_unit_test(the_lines),
        cmocka_unit_test(the_record),
        cmocka_unit_test(the_plot),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
