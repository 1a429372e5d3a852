/* A user's file of limits and uncertainties: overriding, and faults with line and column. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "plumbrule/measure.h"

#define HEAD "{\"format\": \"plumbrule-limits\", \"version\": 1,\n"

static int parse(const char *text, struct meas_config *c, struct err *err)
{
    if (plumb_meas_config_default(c, err) != 0)
        fail_msg("%s", err->text);
    return plumb_meas_config_parse(text, strlen(text), c, err);
}

static const struct meas_limit_entry *limit_of(const struct meas_config *c, const char *quantity)
{
    for (size_t i = 0; i < c->n_limits; i++)
        if (strcmp(c->limit[i].quantity, quantity) == 0)
            return &c->limit[i];
    return NULL;
}

static void every_default_has_a_source(void **state)
{
    (void)state;
    struct meas_config c;
    assert_int_equal(plumb_meas_config_default(&c, NULL), 0);
    for (int i = 0; i < KIND_COUNT; i++) {
        assert_true(c.mark[i].u_mm > 0.0);
        assert_true(c.mark[i].source[0] != '\0');
    }
    for (size_t i = 0; i < c.n_limits; i++)
        assert_true(c.limit[i].source[0] && c.limit[i].status[0] && c.limit[i].caption[0]);
    /* Hildebolt et al. 2009: least significant change 0.49 mm, /2.772 = 0.177 */
    assert_true(c.mark[KIND_CREST].u_mm > 0.17 && c.mark[KIND_CREST].u_mm < 0.19);
    assert_true(c.healthy_mm > 1.0 && c.healthy_source[0]);
    const struct meas_mark_default *other[] = {&c.gauge_size, &c.plane,  &c.lean,
                                               &c.beam,       &c.traced, &c.last_resort};
    for (size_t i = 0; i < sizeof other / sizeof other[0]; i++)
        assert_true(other[i]->u_mm > 0.0 && other[i]->source[0]);
    assert_true(c.source_to_film_mm > 100.0 && c.source_to_film_source[0]);
}

static void single_entries_are_overridden(void **state)
{
    (void)state;
    struct meas_config plain, c;
    struct err err = {0};
    assert_int_equal(plumb_meas_config_default(&plain, NULL), 0);
    assert_int_equal(
        parse(HEAD
              "\"limits\": [{\"quantity\": \"clearance.*\", \"at_least\": 2.5}],"
              "\"marks\": {\"apex\": {\"u_mm\": 0.4}}, \"healthy\": {\"mm\": 1.5},"
              "\"gauge_size\": {\"u_mm\": 0.01}, \"plane\": {\"u_mm\": 1},"
              "\"lean\": {\"u_deg\": 3}, \"beam\": {\"u_deg\": 8}, \"traced\": {\"u_deg\": 0.5},"
              "\"last_resort\": {\"u_percent\": 7, \"source\": \"own films\"},"
              "\"source_to_film\": {\"mm\": 400}}",
              &c, &err),
        0);
    assert_true(limit_of(&c, "clearance.*")->limit == 2.5);
    assert_int_equal(c.n_limits, plain.n_limits);
    assert_true(c.mark[KIND_APEX].u_mm == 0.4);
    assert_true(c.mark[KIND_CREST].u_mm == plain.mark[KIND_CREST].u_mm);
    assert_true(c.healthy_mm == 1.5);
    assert_true(c.gauge_size.u_mm == 0.01 && c.plane.u_mm == 1.0 && c.lean.u_mm == 3.0);
    assert_true(c.beam.u_mm == 8.0);
    assert_true(c.traced.u_mm == 0.5 && c.last_resort.u_mm == 7.0 && c.source_to_film_mm == 400.0);
    assert_string_equal(c.last_resort.source, "own films");
}

static void faults_name_line_and_column(void **state)
{
    (void)state;
    static const struct {
        const char *text, *says;
    } table[] = {
        {HEAD "\"limits\": [\n  {\"quantity\": \"tilt\", \"at_most\": \"much\"}]}",
         "line 3, column 35: limits[0].at_most is not a number"},
        {HEAD "\"marks\": {\"nose\": {\"u_mm\": 1}}}", "line 2, column 19: marks.nose"},
        {HEAD "\"marks\": {\"crest\": {\"u_mm\": 0}}}", "no mark is exact"},
        {HEAD "\"limits\": [{\"quantity\": \"tilt\"}]}", "needs one of at_least"},
        {HEAD "\"limits\": [{\"quantity\": \"tilt\", \"at_most\": 1, \"within\": 2}]}",
         "needs one"},
        {HEAD "\"limits\": [{\"at_most\": 1}]}", "names no quantity"},
        {HEAD "\"limits\": 3}", "is not a list"},
        {HEAD "\"limits\": [{\"quantity\": \"tilt\", \"at_most\": 1e999}]}", "line 2"},
        {HEAD "\"limits\": [{\"quantity\": \"tilt\", \"at_most\": -1}]}", "out of range"},
        {HEAD "\"colour\": 1}", "colour is unknown here"},
        {HEAD "\"source_to_film\": {\"mm\": 0.3}}", "line 2, column 19: source_to_film is nearer"},
        {HEAD "\"lean\":\n {\"u_deg\": -1}}", "line 3"},
        {"{\"format\": \"plumbrule-limits\", \"version\": 2}", "is not 1"},
        {"{\"format\": \"plumbrule-sheet\", \"version\": 1}", "no limits file"},
        {"{\n \"format\"", "line 2"},
        {"", "line 1"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct meas_config c;
        struct err err = {0};
        assert_int_equal(parse(table[i].text, &c, &err), ERR_FORMAT);
        if (strstr(err.text, table[i].says) == NULL)
            fail_msg("wanted \"%s\", got \"%s\"", table[i].says, err.text);
    }
}

/* A fault leaves the defaults as they were. */
static void a_bad_file_changes_nothing(void **state)
{
    (void)state;
    struct meas_config plain, c;
    struct err err = {0};
    assert_int_equal(plumb_meas_config_default(&plain, NULL), 0);
    assert_int_equal(parse(HEAD
                           "\"limits\": [{\"quantity\": \"clearance.*\", \"at_least\": 2.5}, 7]}",
                           &c, &err),
                     ERR_FORMAT);
    assert_memory_equal(&plain, &c, sizeof plain);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_default_has_a_source),
        cmocka_unit_test(single_entries_are_overridden),
        cmocka_unit_test(faults_name_line_and_column),
        cmocka_unit_test(a_bad_file_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
