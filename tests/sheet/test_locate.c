/* Line and column of values in JSON, counted by hand; and no step outside the text, valid or not.
 */
#include "tests/support/close.h"

#include <stdlib.h>
#include <string.h>
#include "plumbrule/sheet.h"

static const char text[] = "{\n"
                           "  \"a\": 1, \"b\": {\"c\": [10, {\"d\": \"x,]}\\\"\"}, [30, 31]]},\n"
                           "\t\"\xC3\xBC\": true,\n"
                           "  \"e.f\": 5, \"\\u0067\": 6, \"a[0]\": 7,\r\n"
                           "  \"list\": [],\n"
                           "  \"last\"  :  null\n"
                           "}\n";

static void found_where_they_stand(void **state)
{
    (void)state;
    static const struct {
        const char *path;
        size_t line, column;
    } table[] = {
        {"", 1, 1},           {"a", 2, 8},        {"b", 2, 16},        {"b.c", 2, 22},
        {"b.c[0]", 2, 23},    {"b.c[1]", 2, 27},  {"b.c[1].d", 2, 33}, {"b.c[2]", 2, 44},
        {"b.c[2][1]", 2, 49}, {"\xC3\xBC", 3, 7}, /* columns count code points */
        {"e.f", 4, 10},       {"g", 4, 23},       /* its key is written \u0067 */
        {"list", 5, 11},      {"last", 6, 14},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        size_t line = 0, column = 0;
        assert_true(plumb_json_locate(text, sizeof text - 1, table[i].path, &line, &column));
        assert_int_equal(line, table[i].line);
        assert_int_equal(column, table[i].column);
    }
}

static void absent_paths_are_not_found(void **state)
{
    (void)state;
    static const char *const table[] = {
        "z",      "b.z",    "b.c[3]", "b.c[4]", "a.b",        "a[0]", "list[0]",
        "b.c[x]", "b.c[",   "b.c[1",  "[0]",    "b.c[1].d.e", "e",    "b.c[2][2]",
        "lis",    "last.x", "b..c",   ".",      "b.c[-1]",    "c",    "b.c[99999999999999999999]"};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        size_t line = 77, column = 77;
        assert_false(plumb_json_locate(text, sizeof text - 1, table[i], &line, &column));
    }
}

/* Every beginning of the text, in memory of its own so that a sanitizer sees a step too far. */
static void broken_texts_are_survived(void **state)
{
    (void)state;
    static const char *const paths[] = {"", "b.c[2][1]", "b.c[1].d", "last", "list[0]", "zz"};
    for (size_t len = 0; len < sizeof text; len++) {
        char *part = malloc(len > 0 ? len : 1);
        memcpy(part, text, len);
        for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
            size_t line = 0, column = 0;
            if (plumb_json_locate(part, len, paths[i], &line, &column))
                assert_true(line >= 1 && line <= 8 && column >= 1);
        }
        free(part);
    }
    static const char *const odd[] = {
        "",  "{",  "\"", "{\"a\"",   "{\"a\":", "}",         "]]]]", "{\"a\\",
        "[", ",,", "{:", "{\"a\":}", "[[[[",    "{\"a\" 1}", "\\"};
    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        size_t line, column;
        assert_false(plumb_json_locate(odd[i], strlen(odd[i]), "a[0].b", &line, &column));
        assert_false(plumb_json_locate(odd[i], strlen(odd[i]), "[1]", &line, &column));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(found_where_they_stand),
        cmocka_unit_test(absent_paths_are_not_found),
        cmocka_unit_test(broken_texts_are_survived),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
