/*
 * record, inside: the annotated picture. It is made in three steps, each of which knows the next
 * only: figure.c and legend.c turn an exam into ink (lines, fills, words), layout.c finds free
 * places for the numbers (pure arithmetic), ink.c puts the ink on a surface, picture.c makes the
 * film's pixels and writes the file.
 *
 * Frame: film pixels, centres at integers, y down; the margin carries on to the right of the film
 * in the same frame. Half a pixel is added in one place, ink_paint.
 */
#ifndef PLUMBRULE_RECORD_INTERNAL_H
#define PLUMBRULE_RECORD_INTERNAL_H

#include <cairo.h>
#include <pango/pangocairo.h>
#include "plumbrule/geometry.h"
#include "plumbrule/record.h"

/* --- layout.c: places, no drawing ----------------------------------------------------------- */

struct box {
    double x0, y0, x1, y1;
};
struct disc {
    struct geo_point at;
    double r;
};

/* What a cell of the field holds. */
enum {
    CELL_INK = 1,    /* a mark or a line that must stay in sight */
    CELL_LABEL = 2,  /* a label */
    CELL_LEADER = 4, /* a leader */
    CELL_AIR = 8     /* so close to one of them that a free place elsewhere is better */
};

/* The area in square cells; a shape takes every cell it touches. */
struct field {
    struct box area;
    double cell;
    size_t nx, ny;
    unsigned char *flags;
};
int field_init(struct field *f, struct box area, double cell, struct err *err);
void field_release(struct field *f);
void field_take_line(struct field *f, struct geo_point a, struct geo_point b, double half,
                     unsigned flag);
void field_take_box(struct field *f, struct box b, unsigned flag);

/* A label for a straight thing a-b (a = b: a point). */
struct label {
    double w, h;
    struct geo_point a, b;
    /* found by label_place_all */
    bool tried, placed, has_leader;
    size_t room; /* free places close by */
    struct box box;
    struct geo_point leader[2]; /* from the thing to the label's edge */
};
struct label_params {
    struct box film;   /* where labels go */
    struct box gutter; /* a column to fall back on; x1 <= x0: none */
    double near;       /* a label nearer than this needs no leader */
    double far;        /* beyond this the gutter is tried first */
    double step;       /* between candidates */
};
/* Places the labels and takes their cells; labels never overlap each other, taken cells of kind
 * CELL_INK or the border. Same input, same places. placed = false: no room at all. */
void label_place_all(struct field *f, const struct label_params *p, struct label *labels, size_t n);
/* A free box in a corner, else along the border, else anywhere; false: no room. */
bool box_place_corner(struct field *f, struct box within, double w, double h, struct box *out);

/* The pieces of a-b that lie outside every disc but number `skip` (n: none), as parameters 0..1;
 * returns their number, at most n + 1. */
size_t cut_by_discs(struct geo_point a, struct geo_point b, const struct disc *discs, size_t n,
                    size_t skip, double (*pieces)[2]);
/* False when nothing of a-b lies in the box; else a and b are moved into it. */
bool clip_to_box(struct box box, struct geo_point *a, struct geo_point *b);

/* --- ink.c: what is drawn, in order -------------------------------------------------------- */

/* One for whom or what a line belongs to; the colours are in ink.c. */
enum hue {
    HUE_PIN,
    HUE_MESIAL,
    HUE_DISTAL,
    HUE_SITE,
    HUE_BOUND,
    HUE_PLAN,
    HUE_PLAIN,
    HUE_DARK,  /* ink on paper, and the ground under light words */
    HUE_FAINT, /* rules and small print on paper */
    HUES
};
/* One for what kind of line it is: the drawing reads without colour. */
enum pattern {
    PATTERN_MEASURED, /* solid */
    PATTERN_LEVEL,    /* long dashes: levels, bounds */
    PATTERN_SIDE,     /* dots, far apart: an outline that must be seen itself */
    PATTERN_AXIS,     /* dash and dot */
    PATTERN_PLAN,     /* dash and two dots */
    PATTERNS
};
struct stroke {
    enum hue hue;
    enum pattern pattern;
    double width; /* px, of the core */
    bool halo;    /* a wider dark line under it, for a film that is bright there */
    bool closed;
};
enum ink_what { INK_STROKE, INK_FILL, INK_WORDS };
struct ink_item {
    enum ink_what what;
    struct stroke stroke; /* a fill uses hue and halo */
    size_t first, n;      /* points */
    PangoLayout *words;   /* at the first point */
    bool on_film;         /* cut at the film's border */
    struct box bounds;
};
/* The drawing. Failures stick, like those of struct buf: check once with ink_check. */
struct ink {
    struct geo_point *point;
    size_t n_points, cap_points;
    struct ink_item *item;
    size_t n, cap;
    PangoContext *pango;
    struct box film;
    bool on_film; /* given to what is added */
    bool failed;
};
int ink_init(struct ink *ink, struct box film, struct err *err);
void ink_release(struct ink *ink);
int ink_check(const struct ink *ink, struct err *err);
void ink_line(struct ink *ink, const struct geo_point *pts, size_t n, struct stroke s);
void ink_fill(struct ink *ink, const struct geo_point *pts, size_t n, enum hue hue, bool halo);
/* A box with round ends. */
void ink_pill(struct ink *ink, struct box b, enum hue hue);
void ink_disc(struct ink *ink, struct geo_point at, double r, enum hue hue);
void ink_pill_rim(struct ink *ink, struct box b, struct stroke s);

/* Words are set first (so that they can be measured), then put somewhere. */
struct words {
    PangoLayout *layout; /* NULL: none; ink_put gives it to the ink, words_release drops it */
    double w, h;
};
/* size: px of the em; wrap: px, 0 for one line. Text that is not UTF-8 is replaced by "?". */
struct words words_set(struct ink *ink, const char *text, double size, bool bold, double wrap);
void words_release(struct words *w);
void ink_put(struct ink *ink, struct words *w, double x, double y, enum hue hue);

/* Paints what touches the rows y0.. of the surface behind cr. */
void ink_paint(const struct ink *ink, cairo_t *cr, double y0, double rows);
/* Moves the items from..n-1 of the list. */
void ink_move(struct ink *ink, size_t from, size_t n, double dx, double dy);

/* --- dimension.c: where each quantity is drawn -------------------------------------------------
 */

enum { DIMENSIONS_MAX = MEAS_QUANTITIES + 8, NUMBERS = 64 };

/* The place of one measured thing, with the numbers of the quantities that share it. */
struct dimension {
    char key[MEAS_ID];
    char numbers[NUMBERS]; /* "9, 11": indices in exam.result.quantity, from 1 */
    enum hue hue;
    struct geo_point a, b; /* the line's ends; the number stands by it */
    bool has_line;         /* false: a number beside something drawn anyway */
    bool at_edges;         /* the line ends at the measured edges themselves: stops short */
    bool has_edges;
    struct geo_point edge[2]; /* measured edges, to be kept in sight */
    size_t n_help;
    struct geo_point help[2][2]; /* from a mark to the line, and a little beyond */
};
/* em: px, for the distances between parallel lines. Returns how many; at most DIMENSIONS_MAX. */
size_t dimensions_make(const struct exam *e, double em, struct dimension out[DIMENSIONS_MAX]);
/* The segment of that id; false when there is none or it is not finite. */
bool segment_find(const struct meas_result *r, const char *id, struct geo_point *a,
                  struct geo_point *b);
/* How far a drawn axis goes on beyond what it was made of, px. */
double axis_reach(double em);

/* --- figure.c: the ink on the film ------------------------------------------------------------ */

/* What the legend has to explain. */
struct figure_used {
    bool pattern[PATTERNS];
    bool by[MARK_CARRIED + 1]; /* as shown: confirmed and moved marks count as those by hand */
};
/* Is there a mark that nobody has confirmed? */
bool used_is_open(const struct figure_used *used);
struct figure_sizes {
    double em, line; /* px: of the words; of a line's core */
};
struct figure_sizes figure_sizes_for(const struct film *film);
/* Corners of a mark's sign; the first is repeated as the last. Returns how many. */
enum { SIGN_POINTS = 25 };
size_t sign_outline(struct geo_point at, double r, enum mark_by by,
                    struct geo_point out[SIGN_POINTS]);
/* Draws everything on the film, numbers included. gutter: width right of the film that numbers may
 * use, 0 for none. With `notes`, scale bar and caption are put on the film too. */
int figure_draw(const struct exam *e, struct ink *ink, double gutter, bool notes,
                struct figure_used *used, struct err *err);

/* --- legend.c: the words around it ---------------------------------------------------------------
 */

/* The margin, from x on, at least `height` high: what is numbered in the film, with its values. w
 * and h: what it came to. */
int legend_draw(const struct exam *e, const struct figure_used *used, struct ink *ink, double x,
                double height, double *w, double *h, struct err *err);
/* Without a legend: the scale bar, the caption and the word for unconfirmed marks, in places of
 * the film that are free. */
void notes_on_film(const struct exam *e, struct ink *ink, struct field *field, double em,
                   bool proposed);

/* --- picture.c ------------------------------------------------------------------------------- */

/* Ink on empty paper, as PNG. */
int paper_write(const struct ink *ink, const struct film_png_options *o, struct file_out *to,
                struct err *err);

#endif
