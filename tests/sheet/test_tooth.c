/*
 * Tooth notation against a table of all 52 teeth: FDI numbers of ISO 3950:2016, Universal numbers
 * and letters as commonly taught, anatomical names. Neighbours against the running count of the
 * Universal system, which goes along each arch; mesial's way against the view of the patient.
 */
#include "tests/support/close.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "plumbrule/geometry.h"
#include "plumbrule/sheet.h"

static const struct {
    int fdi;
    const char *universal, *name;
} teeth[] = {
    {11, "8", "upper right central incisor"},
    {12, "7", "upper right lateral incisor"},
    {13, "6", "upper right canine"},
    {14, "5", "upper right first premolar"},
    {15, "4", "upper right second premolar"},
    {16, "3", "upper right first molar"},
    {17, "2", "upper right second molar"},
    {18, "1", "upper right third molar"},
    {21, "9", "upper left central incisor"},
    {22, "10", "upper left lateral incisor"},
    {23, "11", "upper left canine"},
    {24, "12", "upper left first premolar"},
    {25, "13", "upper left second premolar"},
    {26, "14", "upper left first molar"},
    {27, "15", "upper left second molar"},
    {28, "16", "upper left third molar"},
    {31, "24", "lower left central incisor"},
    {32, "23", "lower left lateral incisor"},
    {33, "22", "lower left canine"},
    {34, "21", "lower left first premolar"},
    {35, "20", "lower left second premolar"},
    {36, "19", "lower left first molar"},
    {37, "18", "lower left second molar"},
    {38, "17", "lower left third molar"},
    {41, "25", "lower right central incisor"},
    {42, "26", "lower right lateral incisor"},
    {43, "27", "lower right canine"},
    {44, "28", "lower right first premolar"},
    {45, "29", "lower right second premolar"},
    {46, "30", "lower right first molar"},
    {47, "31", "lower right second molar"},
    {48, "32", "lower right third molar"},
    {51, "E", "upper right deciduous central incisor"},
    {52, "D", "upper right deciduous lateral incisor"},
    {53, "C", "upper right deciduous canine"},
    {54, "B", "upper right deciduous first molar"},
    {55, "A", "upper right deciduous second molar"},
    {61, "F", "upper left deciduous central incisor"},
    {62, "G", "upper left deciduous lateral incisor"},
    {63, "H", "upper left deciduous canine"},
    {64, "I", "upper left deciduous first molar"},
    {65, "J", "upper left deciduous second molar"},
    {71, "O", "lower left deciduous central incisor"},
    {72, "N", "lower left deciduous lateral incisor"},
    {73, "M", "lower left deciduous canine"},
    {74, "L", "lower left deciduous first molar"},
    {75, "K", "lower left deciduous second molar"},
    {81, "P", "lower right deciduous central incisor"},
    {82, "Q", "lower right deciduous lateral incisor"},
    {83, "R", "lower right deciduous canine"},
    {84, "S", "lower right deciduous first molar"},
    {85, "T", "lower right deciduous second molar"},
};
enum { TEETH = sizeof teeth / sizeof teeth[0] };

static void both_notations(void **state)
{
    (void)state;
    assert_int_equal(TEETH, 52);
    for (size_t i = 0; i < TEETH; i++) {
        char fdi[8], out[8], name[64];
        int got = 0;
        snprintf(fdi, sizeof fdi, "%d", teeth[i].fdi);
        assert_int_equal(plumb_tooth_parse(fdi, NOTATION_FDI, &got, NULL), 0);
        assert_int_equal(got, teeth[i].fdi);
        assert_int_equal(plumb_tooth_parse(teeth[i].universal, NOTATION_UNIVERSAL, &got, NULL), 0);
        assert_int_equal(got, teeth[i].fdi);
        plumb_tooth_print(teeth[i].fdi, NOTATION_FDI, out);
        assert_string_equal(out, fdi);
        plumb_tooth_print(teeth[i].fdi, NOTATION_UNIVERSAL, out);
        assert_string_equal(out, teeth[i].universal);
        assert_string_equal(plumb_tooth_name(teeth[i].fdi, name), teeth[i].name);
        assert_int_equal(plumb_tooth_is_upper(teeth[i].fdi), name[0] == 'u');
    }
}

static bool in_table(int fdi)
{
    for (size_t i = 0; i < TEETH; i++)
        if (teeth[i].fdi == fdi)
            return true;
    return false;
}

static void no_other_number_is_a_tooth(void **state)
{
    (void)state;
    for (int n = -1000; n <= 1000; n++) {
        char out[8] = "x", name[64];
        int mesial = 7, distal = 7;
        assert_int_equal(plumb_tooth_valid(n), in_table(n));
        if (in_table(n))
            continue;
        plumb_tooth_print(n, NOTATION_FDI, out);
        assert_string_equal(out, "");
        plumb_tooth_neighbours(n, &mesial, &distal);
        assert_true(mesial == 0 && distal == 0);
        assert_false(plumb_tooth_is_upper(n));
        assert_int_equal(plumb_tooth_mesial_turn(n), 0);
        assert_string_equal(plumb_tooth_name(n, name), "no tooth");
    }
}

static void foreign_texts_are_refused(void **state)
{
    (void)state;
    static const char *const fdi[] = {"",    "0",   "9",   "10",  "19",  "49", "50",  "56", "86",
                                      "035", "35 ", " 35", "+35", "3.5", "A",  "3 5", "-5", "350"};
    static const char *const universal[] = {"",   "0",  "33", "08", "U",        "AA",  " 8",
                                            "8 ", "+8", "-1", "[",  "\xC3\x84", "100", "@"};
    int got = -7;
    for (size_t i = 0; i < sizeof fdi / sizeof fdi[0]; i++) {
        struct err err = {0};
        assert_int_equal(plumb_tooth_parse(fdi[i], NOTATION_FDI, &got, &err), ERR_FORMAT);
        assert_non_null(strstr(err.text, "FDI"));
    }
    for (size_t i = 0; i < sizeof universal / sizeof universal[0]; i++) {
        struct err err = {0};
        assert_int_equal(plumb_tooth_parse(universal[i], NOTATION_UNIVERSAL, &got, &err),
                         ERR_FORMAT);
        assert_non_null(strstr(err.text, "Universal"));
    }
    assert_int_equal(got, -7);
    assert_int_equal(plumb_tooth_parse("k", NOTATION_UNIVERSAL, &got, NULL), 0);
    assert_int_equal(got, 75);
}

/* Place in the running count: 1 to 32, or A = 1 to T = 20. */
static int rank(const char *universal)
{
    return universal[0] >= 'A' ? universal[0] - 'A' + 1 : (int)strtol(universal, NULL, 10);
}

static int tooth_at(int at, bool deciduous)
{
    for (size_t i = 0; i < TEETH; i++)
        if ((teeth[i].universal[0] >= 'A') == deciduous && rank(teeth[i].universal) == at)
            return teeth[i].fdi;
    return 0;
}

/* The count runs along an arch of `arch` teeth; mesial is towards its middle. */
static void neighbours_stand_side_by_side(void **state)
{
    (void)state;
    for (size_t i = 0; i < TEETH; i++) {
        bool deciduous = teeth[i].universal[0] >= 'A';
        int arch = deciduous ? 10 : 16, at = rank(teeth[i].universal), first = (at - 1) / arch;
        bool first_half = at - first * arch <= arch / 2;
        int up = at + 1 <= (first + 1) * arch ? tooth_at(at + 1, deciduous) : 0;
        int down = at - 1 > first * arch ? tooth_at(at - 1, deciduous) : 0;
        int mesial, distal;
        plumb_tooth_neighbours(teeth[i].fdi, &mesial, &distal);
        assert_int_equal(mesial, first_half ? up : down);
        assert_int_equal(distal, first_half ? down : up);
    }
}

/* Facing the patient: a tooth of the patient's right is on the viewer's left, so its mesial side
 * looks to the viewer's right. Roots of upper teeth point up, y runs down. */
static void mesial_on_an_upright_film(void **state)
{
    (void)state;
    for (size_t i = 0; i < TEETH; i++) {
        bool right = strstr(teeth[i].name, "right") != NULL;
        bool upper = strstr(teeth[i].name, "upper") != NULL;
        struct geo_point mesial = {right ? 1.0 : -1.0, 0.0}, apical = {0.0, upper ? -1.0 : 1.0};
        double turn = geo_dot(geo_perp(apical), mesial);
        assert_close(plumb_tooth_mesial_turn(teeth[i].fdi), turn, 0.0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(both_notations),
        cmocka_unit_test(no_other_number_is_a_tooth),
        cmocka_unit_test(foreign_texts_are_refused),
        cmocka_unit_test(neighbours_stand_side_by_side),
        cmocka_unit_test(mesial_on_an_upright_film),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
