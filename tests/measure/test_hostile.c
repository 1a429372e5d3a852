/*
 * Measuring what no hand would mark: the demo sheets with numbers replaced at random (fixed seed).
 * Whatever passes reading and checking is measured; every quantity has a finite value within its
 * own interval, and nothing else is left behind.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plumbrule/measure.h"

static const char *const sheets[] = {"demo-images/before-extraction.sheet.json",
                                     "demo-images/second-drill.sheet.json"};
static const struct meas_film film = {.width = 1000, .height = 1350};
static struct meas_config config;

static int load_config(void **state)
{
    (void)state;
    return plumb_meas_config_default(&config, NULL);
}

static void read_text(const char *path, struct buf *out)
{
    struct err err = {0};
    if (plumb_file_read(path, SHEET_BYTES, out, &err) != 0)
        fail_msg("%s: %s", path, err.text);
}

/* The k-th number that is a value; false when there are fewer. */
static bool number_at(const struct buf *text, size_t k, size_t *from, size_t *to)
{
    for (size_t i = 1; i < text->len; i++) {
        if (!isdigit((unsigned char)text->data[i]) || text->data[i - 1] != ' ')
            continue;
        *from = i;
        *to = i + strspn(text->data + i, "0123456789.");
        if (k-- == 0)
            return true;
        i = *to;
    }
    return false;
}

/* Replaces one number; what comes in is in the film, at its edge, or nowhere. */
static void spoil(struct buf *text, struct unc_rng *rng)
{
    static const char *const odd[] = {"0",    "1",   "999.5", "500",  "500.001", "0.001",
                                      "1e-9", "700", "-1",    "1349", "1e6",     "250"};
    struct buf next = {0};
    size_t from, to, pick = (size_t)(plumb_unc_rng_uniform(rng) * 200.0);
    if (!number_at(text, pick, &from, &to))
        return;
    const char *with = odd[(size_t)(plumb_unc_rng_uniform(rng) * 12.0)];
    plumb_buf_add(&next, text->data, from);
    plumb_buf_add(&next, with, strlen(with));
    plumb_buf_add(&next, text->data + to, text->len - to);
    plumb_buf_release(text);
    *text = next;
}

static void check_result(const struct meas_result *r)
{
    for (size_t i = 0; i < r->n_quantities; i++) {
        const struct meas_quantity *q = &r->quantity[i];
        if (!isfinite(q->v.value) || !(q->U >= 0.0) || !(q->v.lo <= q->v.hi))
            fail_msg("%s: %g, U %g, %g to %g", q->id, q->v.value, q->U, q->v.lo, q->v.hi);
        assert_true(q->label[0] != '\0' && q->unit != NULL);
    }
    for (size_t i = 0; i < r->n_missing; i++)
        assert_true(r->missing[i].lacks[0] != '\0');
}

/* Returns whether it came to measuring. */
static bool try_sheet(const struct buf *text)
{
    struct sheet s;
    struct sheet_notes notes = {0};
    struct err err = {0};
    struct meas_result r;
    if (plumb_sheet_parse(text->data, text->len, &s, &notes, &err) != 0)
        return false;
    bool measured = plumb_sheet_check(&s, film.width, film.height, &notes, &err) == 0;
    if (measured && plumb_meas_run(&s, &film, &config, &r, &err) == 0) {
        check_result(&r);
        plumb_meas_result_release(&r);
    }
    plumb_sheet_notes_release(&notes);
    plumb_sheet_release(&s);
    return measured;
}

static void spoiled_sheets_are_measured_or_refused(void **state)
{
    (void)state;
    const int trials = 160, most_spoiled = 4;
    struct unc_rng rng;
    int measured = 0;
    plumb_unc_rng_seed(&rng, 35);
    for (int i = 0; i < trials; i++) {
        struct buf text = {0};
        read_text(sheets[i % 2], &text);
        for (int k = 0; k <= i % most_spoiled; k++)
            spoil(&text, &rng);
        measured += try_sheet(&text);
        plumb_buf_release(&text);
    }
    assert_true(measured > trials / 4 && measured < trials);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(spoiled_sheets_are_measured_or_refused),
    };
    return cmocka_run_group_tests(tests, load_config, NULL);
}
