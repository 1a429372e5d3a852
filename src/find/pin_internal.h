/*
 * The pin finder's stages: candidates (pairs of straight, parallel, opposite edges) -> bodies
 * (flanks followed, first in the reduced film, then at full resolution) -> ends -> width ->
 * judgement. Film pixels throughout.
 */
#ifndef PIN_INTERNAL_H
#define PIN_INTERNAL_H

#include "plumbrule/find.h"
#include "find/find_internal.h"

/* What the stages go by. Lengths in units of the pin's width unless a unit is named. */
struct pin_params {
    size_t small_side;      /* px, long side of the reduced film: keeps a 1.5 mm pin >= 9 px wide */
    double min_width_small; /* px of the reduced film */
    double max_width_share; /* of the film's long side: 4.2 mm in a 20 mm crop */
    double min_aspect;      /* length / width of the parallel part: a crown is squatter */
    size_t n_cells;         /* pairs of each polarity taken from the transform */
    size_t n_coarse;        /* candidates of each polarity followed in the reduced film */
    size_t n_fine;          /* candidates measured at full resolution */
};

struct pin_candidate {
    struct geo_line axis; /* either direction */
    double width;         /* px */
    bool inverted;
    bool limited; /* only what lies beyond this point along axis.dir */
    struct geo_point beyond;
};

/* Each row of a strip: where the flanks cross it and how steep they are there. Side 0 is +t. */
struct pin_rows {
    size_t n;
    double *t[2];  /* film px across */
    double *g[2];  /* level per film px; 0: no edge of the right sign */
    bool *ok[2];   /* edge believed to be the flank */
    bool *held[2]; /* ok, while it is put aside */
    void *room;    /* 2 n doubles for whoever works on the rows */
};
int pin_rows_make(size_t n, struct pin_rows *out, struct err *err);
void pin_rows_release(struct pin_rows *r);
/* half: expected flanks at +-half, in film px across; searched within +-window. sd in strip
 * columns; each row is the mean of those within +-reach. */
void pin_rows_measure(const struct find_strip *st, double half, double window, double sd,
                      size_t reach, struct pin_rows *out);
/* The run of rows where both flanks are seen: largest sum of +1 (both), -one (one), -none. */
bool pin_rows_run(const struct pin_rows *r, size_t *i0, size_t *i1);

/* A flank as t = a + b s in its strip's frame. */
struct pin_flank {
    double a, b;
    double scale; /* px, robust standard deviation of the residuals */
    double dips;  /* px, how far its inward dips reach beyond its noise: flutes, threads */
    double own_b; /* the slope of this flank alone, b may be both flanks' */
    double lands; /* share of the rows on the line; 1 when the flank is smooth */
    size_t n;     /* rows used */
};
/* Robust straight line through side's ok rows i0..i1. */
bool pin_flank_fit(const struct find_strip *st, const struct pin_rows *r, int side, size_t i0,
                   size_t i1, double min_scale, struct pin_flank *out);

/* The same for flanks with dips: both lines along their lands, of one direction; rows within +-land
 * (px) of them are lands. flank holds the robust lines before, and keeps their scale and dips. */
bool pin_lands_fit(const struct find_strip *st, const struct pin_rows *r, size_t i0, size_t i1,
                   double land, struct pin_flank flank[2]);

/*
 * One candidate measured. The strip's frame is the axis to within a fraction of a pixel; s grows
 * along axis.dir, towards the tip once the ends are known.
 */
struct pin_body {
    const struct find_image *im;
    struct find_strip strip; /* the whole axis within the film */
    struct pin_rows rows;
    struct geo_line axis;      /* bisector of the flanks, at the centroid, with uncertainty */
    struct pin_flank flank[2]; /* in the strip's frame */
    double u_flank[2];         /* px, at the centroid */
    double u_turn, u_shift;    /* rad, px: of the axis, by the levels beside the flanks */
    size_t i0, i1;             /* rows: the run where the flanks are seen */
    double width;              /* px between the steepest places of the flanks, in the middle */
    double inside, outside[2]; /* levels: core, and beside either flank */
};
/* Follows a candidate through the reduced film; edges below slope (level per px) do not count. */
int pin_body_follow(const struct find_image *small, const struct pin_candidate *c, double slope,
                    struct pin_body *out, bool *good, struct err *err);
/* A shank and the pin it holds lie on one axis: the candidate that goes on beyond the body's end at
 * large s (way 1) or small s (way -1), with the width that most rows there show. */
int pin_body_beyond(const struct pin_body *b, int way, double slope, struct pin_candidate *c,
                    bool *found, struct err *err);
/* The cylinder's rows: those its lines keep to, from the tip on; or all that coarse has found. */
enum pin_run { PIN_RUN_FROM_TIP, PIN_RUN_WHOLE };
/* Measures what `coarse` has found in the film itself, tip at large s. */
int pin_body_measure(const struct find_image *film, const struct pin_body *coarse, enum pin_run run,
                     struct pin_body *out, bool *good, struct err *err);
void pin_body_release(struct pin_body *b);
/* Half the raw width at s, and the middle across. */
double pin_body_half(const struct pin_body *b, double s);
double pin_body_mid(const struct pin_body *b, double s);
double pin_body_s(const struct pin_body *b, size_t row);
size_t pin_body_row(const struct pin_body *b, double s);
/* Mean level of the rows i0..i1 between t0 and t1 across, from the strip's middle. */
double pin_body_level(const struct pin_body *b, size_t i0, size_t i1, double t0, double t1);
/* Does the edge of one side at least lie on its flank in this row? */
bool pin_body_on_flank(const struct pin_body *b, size_t row);
/* Turns s round so that it grows towards the other end. */
void pin_body_flip(struct pin_body *b);

enum pin_end_kind { PIN_END_OPEN, PIN_END_FREE, PIN_END_FILM }; /* goes on; ends; leaves the film */

struct pin_ends {
    enum pin_end_kind kind[2]; /* [0] at small s, [1] at large s */
    double at[2];              /* s of the end of the core */
    double drop[2];            /* fall of the core there against the flanks' contrast */
    double top;                /* s, where the cylinder begins in sight */
    double tip, u_tip;         /* s of the axis' end */
    double tip_gain;           /* its shift against the shift of the flanks (pin_width_fit) */
    enum find_tip shape;
    bool has_shoulder, has_stop;
    double shoulder, u_shoulder, stop, u_stop; /* s */
    double shoulder_gain;                      /* as tip_gain */
};
/* Kinds and places of both ends. */
void pin_ends_find(const struct pin_body *b, struct pin_ends *out);
/* The end likelier to be the tip is turned to large s: the free one; of two, the one away from
 * where the film is dark (air, find_scene). */
void pin_ends_turn(struct pin_body *b, struct geo_point air, struct pin_ends *e);
/* Mean of each row i0..i1 between t0 and t1 across (from the middle); i1-i0+1 values. */
void pin_band(const struct pin_body *b, size_t i0, size_t i1, double t0, double t1, float *out);
/* Shoulder and stop, with the tip known. */
int pin_collar_measure(const struct pin_body *b, struct pin_ends *e, struct err *err);
/* With the tip at large s: its shape and place, shoulder and stop. */
int pin_ends_measure(const struct pin_body *b, struct pin_ends *e, struct err *err);

/* The cylinder's width in the middle of the run and along it, tone and blur allowed for. */
void pin_width_fit(const struct pin_body *b, struct find_pin *out);

/* What a body is judged by; all without unit. */
struct pin_features {
    double contrast, weaker; /* of the core against both sides, against the less dark side; in
                                ranges of the film */
    double drop;             /* at the tip, against the flanks' contrast */
    double straight;         /* robust deviation of the flanks / width */
    double taper;            /* rad between the flanks, each by itself */
    double aspect;
    bool fluted;    /* the flanks are lines through lands */
    double lands;   /* share of rows on its line, the lesser of both flanks */
    double over;    /* share of rows a little outside its line, the greater of both flanks */
    double teeth;   /* dips a width's length: a thread's 3 and more, a drill's below 1 */
    double fill;    /* height at 0.75 of the radius against the middle's */
    double uneven;  /* standard deviation of the core along the pin / contrast */
    double bright;  /* share of the film darker than the core */
    double upright; /* how far the crown end points to the side where the air is, -1..1 */
    double slim;    /* width / the film's short side */
    double filling; /* brighter on the axis beyond the tip than beside it / contrast */
    bool inverted;  /* metal read as dark */
    enum pin_end_kind crown;
};
void pin_features_of(const struct pin_body *b, const struct pin_ends *e,
                     const struct find_scene *scene, struct pin_features *f);
/* How the flanks keep to their lines, by the film itself and by the reduced one, where noise is
 * less: both count alike. */
void pin_features_blend(struct pin_features *f, const struct pin_features *reduced);
/* 0..1; see pin_judge.c. */
double pin_confidence(const struct pin_features *f);

/* Writes at most 2 n_cells candidates, n of them. slope: the film's own measure of a steep edge,
 * level per film px. */
int pin_candidates(const struct find_image *small, const struct pin_params *p,
                   struct pin_candidate *out, size_t *n, double *slope, struct err *err);

#endif
