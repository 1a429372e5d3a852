/*
 * The pin finder on films drawn by formula, after nothing that the phantom knows: bodies whose
 * sides are notched far deeper and in another rhythm than a twist drill's, by themselves and on a
 * shank that is as smooth as a pin. Truth: the formula's own axis and tip.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>

#include "plumbrule/find.h"

static const double deg = 180.0 / 3.14159265358979323846;
static const double air = 0.06, bone = 0.34, tooth = 0.5, metal = 0.93; /* levels */
enum { W = 800, H = 1000 };                                             /* px */

/* A body of revolution seen from the side: s from the tip crownwards, px. */
struct body {
    double tip_x, tip_y, angle_deg; /* the axis from the vertical, clockwise */
    double width, length;
    double depth, pitch; /* of the notches: share of the radius, widths along one side */
    double collar_width, shank_width, shank_length;
    double level;
};

/* Half the width of one side at s; below 0: beyond an end. Notches of both sides take turns. */
static double half_at(const struct body *b, double s, int side)
{
    double from = b->collar_width > 0.0 ? b->length + 0.25 * b->width : b->length;
    if (s < 0.0 || s > from + b->shank_length)
        return -1.0;
    if (s > from)
        return 0.5 * b->shank_width;
    if (s > b->length)
        return 0.5 * b->collar_width;
    double wave = b->depth > 0.0 ? sin(6.2831853 * (s / (b->pitch * b->width) + 0.5 * side)) : 0.0;
    return 0.5 * b->width * (1.0 - b->depth * fmax(0.0, wave));
}

/* Share of the pixel that the body covers, its edges blurred over some pixels. */
static double cover(const struct body *b, double x, double y)
{
    static const double blur_px = 3.0;
    double c = cos(b->angle_deg / deg), d = sin(b->angle_deg / deg);
    double dx = x - b->tip_x, dy = y - b->tip_y;
    double s = d * dx - c * dy, t = c * dx + d * dy, in = half_at(b, s, t > 0.0) - fabs(t);
    double end = fmin(s, b->length + b->shank_length + 0.25 * b->width - s);
    return fmin(1.0, fmax(0.0, 0.5 + fmin(in, end) / blur_px));
}

/* Bone below air, a tapering tooth at either side. */
static double ground(double x, double y)
{
    double from_tooth = fmin(fabs(x - 0.12 * W), fabs(x - 0.88 * W));
    double down = y / H - 0.15, half = 75.0 * (1.0 - 1.5 * down * down / 0.42);
    double root = from_tooth < half && down > 0.0 ? tooth - bone : 0.0;
    return (y < 0.33 * H ? air : bone) + root;
}

static void draw(struct film *f, const struct body *b)
{
    uint32_t noise = 12345;
    *f = (struct film){.width = W, .height = H, .depth = 16, .orientation = 1};
    f->grey = plumb_mem_array((size_t)W * H, sizeof *f->grey, NULL);
    assert_non_null(f->grey);
    for (size_t i = 0; i < (size_t)W * H; i++) {
        double x = (double)(i % W), y = (double)(i / W), in = cover(b, x, y);
        noise = noise * 1664525U + 1013904223U;
        double v = ground(x, y) * (1.0 - in) + b->level * in;
        f->grey[i] = (uint16_t)(65535.0 * v + 1500.0 * ((double)(noise >> 8) / 16777216.0 - 0.5));
    }
}

static void find(const struct film *film, struct find_pins *out)
{
    struct err err = {0};
    if (plumb_find_pins(film, NULL, out, &err) != 0)
        fail_msg("%s", err.text);
}

static const struct body drills[] = {
    /* deep notches, on a smooth thin shank with a free end */
    {420, 690, 4.0, 90, 250, 0.5, 0.9, 150, 55, 250, metal},
    {400, 720, -6.0, 80, 260, 0.35, 0.7, 130, 50, 330, metal},
    /* by themselves, free at both ends */
    {410, 640, 8.0, 100, 330, 0.45, 0.8, 0, 0, 0, metal},
    {380, 700, -3.0, 76, 300, 0.3, 1.3, 0, 0, 0, metal},
};

static void notched_drills(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof drills / sizeof *drills; i++) {
        const struct body *b = &drills[i];
        struct film film;
        struct find_pins pins;
        draw(&film, b);
        find(&film, &pins);
        if (pins.n == 0)
            fail_msg("drill %zu: no pin", i);
        const struct find_pin *p = &pins.at[0];
        struct geo_point dir = {-sin(b->angle_deg / deg), cos(b->angle_deg / deg)};
        struct geo_point tip = {b->tip_x, b->tip_y};
        double off = deg * fabs(plumb_geo_angle(p->axis.dir, dir));
        if (off > 1.0 || geo_dist(p->tip, tip) > 0.15 * b->width)
            fail_msg("drill %zu: axis %.2f degrees, tip %.0f px off", i, off,
                     geo_dist(p->tip, tip));
        plumb_find_pins_release(&pins);
        free(film.grey);
    }
}

/* The holder's arm over the whole film: it ends at the frame, and ends nowhere in tissue. */
static void strip_into_the_frame(void **state)
{
    (void)state;
    static const struct body arm = {500, 1100, 5.0, 70, 1300, 0, 0, 0, 0, 0, 0.66};
    static const size_t frame_px[] = {25, 40, 60};
    for (size_t k = 0; k < sizeof frame_px / sizeof *frame_px; k++) {
        struct film film;
        struct find_pins pins;
        draw(&film, &arm);
        for (size_t i = 0; i < (size_t)W * H; i++) {
            size_t x = i % W, y = i / W, m = frame_px[k];
            if (x < m || y < m || x >= W - m || y >= H - m)
                film.grey[i] = 0;
        }
        find(&film, &pins);
        if (pins.n > 0)
            fail_msg("frame of %zu px: confidence %.2f", frame_px[k], pins.at[0].confidence);
        plumb_find_pins_release(&pins);
        free(film.grey);
    }
}

/* Paints a body over what the film shows. */
static void lay(struct film *f, const struct body *b)
{
    for (size_t i = 0; i < (size_t)W * H; i++) {
        double in = cover(b, (double)(i % W), (double)(i / W));
        f->grey[i] = (uint16_t)((double)f->grey[i] * (1.0 - in) + 65535.0 * b->level * in);
    }
}

/* A root of straight sides round a filling: together they look like a pin with a bright middle. */
static void root_round_its_filling(void **state)
{
    (void)state;
    static const struct body root = {420, 640, 4.0, 86, 420, 0, 0, 0, 0, 0, 0.48};
    static const double fillings[] = {0.3, 0.36, 0.42}; /* of the root's width */
    for (size_t k = 0; k < sizeof fillings / sizeof *fillings; k++) {
        struct body filling = root;
        struct film film;
        struct find_pins pins;
        filling.width *= fillings[k];
        filling.level = metal;
        draw(&film, &root);
        lay(&film, &filling);
        find(&film, &pins);
        for (size_t i = 0; i < pins.n; i++)
            if (pins.at[i].width > 0.8 * root.width)
                fail_msg("filling %zu: the root, confidence %.2f", k, pins.at[i].confidence);
        plumb_find_pins_release(&pins);
        free(film.grey);
    }
}

/* A post with parallel sides is shaped like a pin; what is left of its root's filling goes on
 * beyond its end (4 to 5 mm of it: common practice, no source). The same body without it is a pin.
 */
static void post_before_its_filling(void **state)
{
    (void)state;
    static const struct body root = {404, 760, 4.0, 190, 640, 0, 0, 0, 0, 0, 0.5};
    static const struct body post = {412, 640, 4.0, 60, 300, 0, 0, 110, 90, 130, metal};
    static const struct body filling = {405, 745, 4.0, 26, 80, 0, 0, 0, 0, 0, 0.72};
    for (int filled = 0; filled < 2; filled++) {
        struct film film;
        struct find_pins pins;
        draw(&film, &root);
        lay(&film, &post);
        if (filled)
            lay(&film, &filling);
        find(&film, &pins);
        if (filled ? pins.n > 0 : pins.n == 0)
            fail_msg("%s: %zu pins", filled ? "post before its filling" : "nothing beyond", pins.n);
        plumb_find_pins_release(&pins);
        free(film.grey);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(notched_drills),
        cmocka_unit_test(strip_into_the_frame),
        cmocka_unit_test(root_round_its_filling),
        cmocka_unit_test(post_before_its_filling),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
