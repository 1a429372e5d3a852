/*
 * The pin finder's stages: candidates (pairs of straight, parallel, opposite edges) -> flanks at
 * full resolution -> ends -> width -> judgement. Film pixels throughout.
 */
#ifndef PIN_INTERNAL_H
#define PIN_INTERNAL_H

#include "plumbrule/find.h"
#include "find/find_internal.h"

/* What the stages go by. Lengths in units of the pin's width unless a unit is named. */
struct pin_params {
    size_t small_side;      /* px, long side of the reduced film: keeps a 2 mm pin >= 9 px wide */
    double min_width_small; /* px of the reduced film */
    double max_width_share; /* of the film's long side: 4.2 mm in a 20 mm crop */
    double min_aspect;      /* length / width of the parallel part: a crown is squatter */
    size_t n_coarse;        /* candidates of each polarity looked at in the reduced film */
    size_t n_fine;          /* candidates measured at full resolution */
};

struct pin_candidate {
    struct geo_line axis; /* either direction */
    double width;         /* px */
    double s0, s1;        /* px along the axis: where both flanks are seen */
    double score;         /* length in px of well seen flanks, weighted by brightness */
    bool inverted;
};

/* Each row of a strip: where the flanks cross it and how steep they are there. Side 0 is +t. */
struct pin_rows {
    size_t n;
    double *t[2]; /* film px across */
    double *g[2]; /* level per film px; 0: no edge of the right sign */
    bool *ok[2];  /* edge believed to be the flank */
};
int pin_rows_make(size_t n, struct pin_rows *out, struct err *err);
void pin_rows_release(struct pin_rows *r);
/* mid, half: expected flanks at mid +- half, in film px across; searched within +-window. sd in
 * strip columns. */
void pin_rows_measure(const struct find_strip *st, double mid, double half, double window,
                      double sd, struct pin_rows *out);

/* A flank as t = a + b s in its strip's frame. */
struct pin_flank {
    double a, b;
    double scale; /* px, robust standard deviation of the residuals */
    size_t n;     /* rows used */
};
/* Robust straight line through side's ok rows i0..i1 (bisquare weights on an L1 start). */
bool pin_flank_fit(const struct find_strip *st, const struct pin_rows *r, int side, size_t i0,
                   size_t i1, double min_scale, struct pin_flank *out);
/* The run of rows where both flanks are seen: largest sum of +1 (both), -one (one), -none. */
bool pin_run(const struct pin_rows *r, size_t *i0, size_t *i1);

/*
 * One candidate measured at full resolution. The strip's frame is the axis; s grows along axis.dir,
 * which points to the tip once the ends are known.
 */
struct pin_body {
    struct find_image im;
    struct find_strip strip; /* the whole axis within the film */
    struct pin_rows rows;
    struct geo_line axis;      /* bisector of the flanks, at the centroid, with uncertainty */
    struct pin_flank flank[2]; /* in the strip's frame */
    double u_flank[2];         /* px, at the centroid */
    size_t i0, i1;             /* rows: the run where the flanks are seen */
    double width;              /* px between the steepest places of the flanks, in the middle */
    double inside, outside[2]; /* levels: core, and beside either flank */
    double seen;  /* share of the run's rows where both flanks are where they should be */
    double slope; /* median steepness of the flanks, level per px */
};
/* Measures c in film; good is false when there is nothing to be measured. */
int pin_body_make(const struct film *film, const struct pin_candidate *c, struct pin_body *out,
                  bool *good, struct err *err);
void pin_body_release(struct pin_body *b);
/* Half the raw width at s, and the middle across. */
double pin_body_half(const struct pin_body *b, double s);
double pin_body_mid(const struct pin_body *b, double s);
/* Turns s round so that it grows towards the other end. */
void pin_body_flip(struct pin_body *b);

enum pin_end_kind { PIN_END_OPEN, PIN_END_FREE, PIN_END_FILM }; /* goes on; ends; leaves the film */

struct pin_ends {
    enum pin_end_kind kind[2]; /* [0] at small s, [1] at large s */
    double at[2];              /* s of the end of the core */
    double drop[2];            /* fall of the core there against the flanks' contrast */
    double tip, u_tip;         /* s of the axis' end */
    enum find_tip shape;
    bool has_shoulder, has_stop;
    double shoulder, u_shoulder, stop, u_stop; /* s */
};
/* Kinds and places of both ends. */
void pin_ends_find(const struct pin_body *b, struct pin_ends *out);
/* With the tip at large s: its shape and place, shoulder and stop. */
int pin_ends_measure(const struct pin_body *b, struct pin_ends *e, struct err *err);

/* 0..1; see pin_judge.c. */
double pin_confidence(const struct pin_body *b, const struct pin_ends *e);

/* Writes at most max candidates of both polarities, best first, and their number. */
int pin_candidates(const struct film *film, const struct pin_params *p, struct pin_candidate *out,
                   size_t max, size_t *n, struct err *err);

#endif
