/*
 * find, for its own files: an image seen with metal bright, straightened strips of it, sub-pixel
 * edges in a row of a strip.
 *
 * Strip frame: s runs along the line from line.at, t across it, positive on the geo_perp(dir) side;
 * both in film pixels. A strip's row is one s, its column one t.
 */
#ifndef FIND_INTERNAL_H
#define FIND_INTERNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "plumbrule/film.h"
#include "plumbrule/geometry.h"

/* Levels 0..1, radiopaque bright. Either the film itself or a reduced copy; `scale` film pixels to
 * one of its own; its pixel (0,0) lies at film point (offset, offset). Borrows what it points to.
 */
struct find_image {
    size_t width, height;
    const uint16_t *grey; /* one of the two */
    float *level;         /* owned when it is there: find_image_release */
    bool inverted;
    double scale, offset;
    double black, white; /* level of either, as deep as the file's values go: find_image_depth */
};

struct find_image find_image_of(const struct film *film, bool inverted);
/* Sets black and white of a film as it is for values of 12 or 14 bits in a file of 16, at either
 * end; inverted, they change places. */
void find_image_depth(struct find_image *im);
/* The film averaged over scale x scale blocks so that its long side is at most max_side. Gives
 * level (free it). */
int find_image_reduce(const struct film *film, size_t max_side, struct find_image *out,
                      struct err *err);
void find_image_release(struct find_image *im);
/* Is radiopaque dark, judged by the place a person clicked? See vote.c. */
enum find_polarity { FIND_POLARITY_AS_IS, FIND_POLARITY_INVERTED, FIND_POLARITY_UNSURE };
enum find_polarity find_polarity_at_root(const struct film *film, struct geo_point crown_end,
                                         struct geo_point apex);
enum find_polarity find_polarity_at_crest(const struct film *film, struct geo_point rough,
                                          struct geo_point apical);
/* What the reduced film says as a whole, metal bright. */
enum { FIND_LEVELS = 512 };
struct find_scene {
    double darker[FIND_LEVELS + 1]; /* share of the film below level i / FIND_LEVELS */
    double range;                   /* between the darkest and the brightest percent */
    struct geo_point air;           /* from the film's middle to the middle of what is darkest in
                                       it, in standard deviations of that along either side: air
                                       lies crownwards, in a band along one side of the film */
};
void find_scene_of(const struct find_image *small, struct find_scene *out);
/* Share of the film darker than level. */
double find_scene_rank(const struct find_scene *sc, double level);
/* Bilinear at a film point; outside the nearest edge pixel. */
double find_image_at(const struct find_image *im, struct geo_point film_point);

struct find_strip {
    struct geo_line line;
    size_t rows, cols;
    double s0, ds, t0, dt; /* film px */
    float *v;              /* rows x cols, and one row of room behind them */
};
/* Samples im along line from s0 to s1 in steps ds, across from -half to +half in steps dt. */
int find_strip_make(const struct find_image *im, const struct geo_line *line, double s0, double s1,
                    double ds, double half, double dt, struct find_strip *out, struct err *err);
void find_strip_release(struct find_strip *st);
static inline const float *find_strip_row(const struct find_strip *st, size_t i)
{
    return st->v + i * st->cols;
}
/* Adds the row's samples from t0 to t1 to sum and returns how many they were. */
size_t find_strip_sum(const struct find_strip *st, size_t row, double t0, double t1, double *sum);
struct geo_point find_strip_point(const struct find_strip *st, double s, double t);

/* The part of line inside the film: s range; false when there is none. */
bool find_line_inside(const struct find_image *im, const struct geo_line *line, double *s0,
                      double *s1);

/* Derivative of a Gaussian, one side of it. */
enum { FIND_KERNEL_MAX = 16 }; /* samples */
struct find_kernel {
    int reach;
    float w[FIND_KERNEL_MAX + 1];
};
struct find_kernel find_kernel_make(double sd_samples);

/*
 * The steepest rise (sign +1) or fall (-1) of row[from..to) in the sense of Canny: maximum of the
 * derivative of a Gaussian, interpolated by a parabola (Devernay 1995, INRIA
 * RR-2724). Returns the slope in level per sample (0: no maximum within), *at in samples.
 */
double find_edge_in_row(const float *row, size_t n, size_t from, size_t to, int sign,
                        const struct find_kernel *k, double *at);

/* The derivative itself, between two samples; at + 1 < n. */
double find_slope_in_row(const float *row, size_t n, double at, const struct find_kernel *k);

/* Quantile q of n floats by selection; reorders them. NaN for n = 0. */
double find_quantile_f(float *v, size_t n, double q);

#endif
