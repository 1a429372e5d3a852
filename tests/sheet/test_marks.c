/* All marks alike: their order, names and kinds, written down by hand for the example; finding them
 * by name; copying; notes. */
#include "tests/support/close.h"

#include <stdlib.h>
#include <string.h>
#include "tests/support/sheet_example.h"

static const struct {
    const char *name;
    enum mark_kind kind;
} marks[] = {
    {"gauges[0].ends[0]", KIND_GAUGE_END},
    {"gauges[0].ends[1]", KIND_GAUGE_END},
    {"gauges[1].ends[0]", KIND_GAUGE_END},
    {"pin.tip", KIND_PIN_TIP},
    {"pin.shoulder", KIND_PIN_SHOULDER},
    {"pin.stop", KIND_PIN_STOP},
    {"pin.axis[0]", KIND_PIN_AXIS},
    {"pin.axis[1]", KIND_PIN_AXIS},
    {"pin.mesial_side[0]", KIND_PIN_SIDE},
    {"pin.mesial_side[1]", KIND_PIN_SIDE},
    {"pin.distal_side[0]", KIND_PIN_SIDE},
    {"pin.distal_side[1]", KIND_PIN_SIDE},
    {"pins[0].tip", KIND_PIN_TIP},
    {"pins[0].axis[0]", KIND_PIN_AXIS},
    {"pins[0].axis[1]", KIND_PIN_AXIS},
    {"pins[0].mesial_side[0]", KIND_PIN_SIDE},
    {"pins[0].mesial_side[1]", KIND_PIN_SIDE},
    {"pins[1].shoulder", KIND_PIN_SHOULDER},
    {"mesial.axis[0]", KIND_ROOT_AXIS},
    {"mesial.axis[1]", KIND_ROOT_AXIS},
    {"mesial.cej", KIND_CEJ},
    {"mesial.cej_far", KIND_CEJ},
    {"mesial.apex", KIND_APEX},
    {"mesial.crest", KIND_CREST},
    {"mesial.near[0]", KIND_ROOT_SIDE},
    {"mesial.near[1]", KIND_ROOT_SIDE},
    {"mesial.near[2]", KIND_ROOT_SIDE},
    {"mesial.far[0]", KIND_ROOT_SIDE},
    {"mesial.far[1]", KIND_ROOT_SIDE},
    {"distal.axis[0]", KIND_ROOT_AXIS},
    {"distal.axis[1]", KIND_ROOT_AXIS},
    {"distal.cej", KIND_CEJ},
    {"distal.cej_far", KIND_CEJ},
    {"distal.apex", KIND_APEX},
    {"distal.crest", KIND_CREST},
    {"distal.near[0]", KIND_ROOT_SIDE},
    {"distal.near[1]", KIND_ROOT_SIDE},
    {"distal.far[0]", KIND_ROOT_SIDE},
    {"distal.far[1]", KIND_ROOT_SIDE},
    {"site_tooth.axis[0]", KIND_ROOT_AXIS},
    {"site_tooth.axis[1]", KIND_ROOT_AXIS},
    {"site_tooth.top", KIND_TOP},
    {"site_tooth.cej_mesial", KIND_CEJ},
    {"site_tooth.cej_distal", KIND_CEJ},
    {"site_tooth.apex", KIND_APEX},
    {"site_tooth.fracture_mesial", KIND_FRACTURE},
    {"site_tooth.fracture_distal", KIND_FRACTURE},
    {"ridge", KIND_CREST},
    {"bounds[0].path[0]", KIND_BOUND},
    {"bounds[0].path[1]", KIND_BOUND},
};
enum { MARKS = sizeof marks / sizeof marks[0] };

static void one_fixed_order(void **state)
{
    (void)state;
    struct sheet s;
    struct sheet_mark_ref ref[MARKS + 3];
    sheet_example(&s);
    memset(ref, 0, sizeof ref);
    assert_int_equal(plumb_sheet_marks(&s, NULL, 0), MARKS);
    assert_int_equal(plumb_sheet_marks(&s, ref, 3), MARKS);
    assert_null(ref[3].mark); /* no more than there is room for */
    assert_int_equal(plumb_sheet_marks(&s, ref, MARKS + 3), MARKS);
    for (size_t i = 0; i < MARKS; i++) {
        assert_string_equal(ref[i].name, marks[i].name);
        assert_int_equal(ref[i].kind, marks[i].kind);
        assert_ptr_equal(plumb_sheet_mark(&s, marks[i].name), ref[i].mark);
    }
    assert_ptr_equal(ref[3].mark, &s.pin.tip);
    assert_ptr_equal(ref[21].mark, &s.side[MESIAL].cej_far);
    assert_ptr_equal(ref[MARKS - 1].mark, &s.bound[0].path.at[1]);
    plumb_sheet_release(&s);
}

static void the_longest_name_fits(void **state)
{
    (void)state;
    struct sheet s;
    struct mark *at = calloc(SHEET_PATH, sizeof *at);
    struct sheet_mark_ref *ref = calloc(SHEET_PATH, sizeof *ref);
    for (size_t i = 0; i < SHEET_PATH; i++)
        at[i].set = true;
    plumb_sheet_init(&s);
    s.n_bounds = SHEET_BOUNDS;
    s.bound[SHEET_BOUNDS - 1].path = (struct mark_path){at, SHEET_PATH};
    assert_int_equal(plumb_sheet_marks(&s, ref, SHEET_PATH), SHEET_PATH);
    assert_string_equal(ref[SHEET_PATH - 1].name, "bounds[7].path[1999]");
    assert_ptr_equal(plumb_sheet_mark(&s, "bounds[7].path[1999]"), &at[SHEET_PATH - 1]);
    free(ref);
    plumb_sheet_release(&s);
}

static void places_set_or_not(void **state)
{
    (void)state;
    struct sheet s;
    plumb_sheet_init(&s);
    assert_int_equal(plumb_sheet_marks(&s, NULL, 0), 0);
    assert_ptr_equal(plumb_sheet_mark(&s, "distal.apex"), &s.side[DISTAL].apex);
    assert_ptr_equal(plumb_sheet_mark(&s, "pin.mesial_side[1]"), &s.pin.side[MESIAL][1]);
    static const char *const none[] = {"",
                                       "pin",
                                       "pin.axis",
                                       "pin.axis[2]",
                                       "pin.axis[-1]",
                                       "pin.axis[]",
                                       "pin.axis[0",
                                       "pin.axis[0]x",
                                       "pin.axis[00]",
                                       "pin.axis[0].x",
                                       "pin.tip[0]",
                                       "pin.tip.x",
                                       "mesial.near",
                                       "mesial.near[0]",
                                       "gauges[0].ends[0]",
                                       "pins[0].tip",
                                       "bounds",
                                       "bounds[0].path[0]",
                                       "remarks",
                                       "pin.tipp",
                                       "pin.ti",
                                       "mesial.cej_",
                                       "pin.axis[18446744073709551616]",
                                       "pin.axis[4294967296]"};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++)
        assert_null(plumb_sheet_mark(&s, none[i]));
    s.n_gauges = 1;
    assert_ptr_equal(plumb_sheet_mark(&s, "gauges[0].ends[0]"), &s.gauge[0].end[0]);
    assert_null(plumb_sheet_mark(&s, "gauges[1].ends[0]"));
}

static void copies_stand_alone(void **state)
{
    (void)state;
    struct sheet s, copy, again;
    sheet_example(&s);
    sheet_example(&again);
    assert_int_equal(plumb_sheet_copy(&s, &copy, NULL), 0);
    assert_true(sheet_same(&s, &copy));
    size_t n = plumb_sheet_marks(&copy, NULL, 0);
    struct sheet_mark_ref *ref = calloc(n, sizeof *ref);
    plumb_sheet_marks(&copy, ref, n);
    for (size_t i = 0; i < n; i++)
        ref[i].mark->x += 1.0; /* all marks of the copy, none of the first */
    assert_true(sheet_same(&s, &again));
    free(ref);
    plumb_sheet_release(&copy);
    assert_true(sheet_same(&s, &again));
    plumb_sheet_release(&s);
    plumb_sheet_release(&s);
    plumb_sheet_release(&again);
    plumb_sheet_release(NULL);
}

static void copying_without_memory(void **state)
{
    (void)state;
    struct sheet s, copy;
    sheet_example(&s);
    enum { PATHS = 5 };
    for (long n = 1; n <= PATHS + 1; n++) {
        struct err err = {0};
        plumb_mem_fail_after(n);
        int rc = plumb_sheet_copy(&s, &copy, &err);
        plumb_mem_fail_after(0);
        assert_int_equal(rc, n <= PATHS ? ERR_NOMEM : 0);
        assert_int_equal(err.code, rc);
        assert_int_equal(plumb_sheet_marks(&copy, NULL, 0), n <= PATHS ? 0 : MARKS);
        plumb_sheet_release(&copy);
    }
    plumb_sheet_release(&s);
}

static void notes_are_plain_and_bounded(void **state)
{
    (void)state;
    struct sheet_notes n = {0};
    char longer[600];
    memset(longer, 'x', sizeof longer);
    longer[sizeof longer - 1] = '\0';
    plumb_sheet_notes_add(&n, "%d pins, %s", 2, "a\x1b[31m\tb\x7f \xC2\x9B \xC3\xBC");
    plumb_sheet_notes_add(&n, "%s", longer);
    plumb_sheet_notes_add(NULL, "nobody listens");
    assert_int_equal(n.n, 2);
    assert_string_equal(n.line[0], "2 pins, a?[31m?b? ?? \xC3\xBC");
    assert_int_equal(strlen(n.line[1]), sizeof n.line[1] - 1);
    plumb_mem_fail_after(1);
    plumb_sheet_notes_add(&n, "lost");
    plumb_mem_fail_after(0);
    assert_int_equal(n.n, 2);
    plumb_sheet_notes_release(&n);
    plumb_sheet_notes_release(&n);
    plumb_sheet_notes_release(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_fixed_order),        cmocka_unit_test(the_longest_name_fits),
        cmocka_unit_test(places_set_or_not),      cmocka_unit_test(copies_stand_alone),
        cmocka_unit_test(copying_without_memory), cmocka_unit_test(notes_are_plain_and_bounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
