/*
 * The crest's files: what is looked at about the rough point, and the way the crest takes there.
 *
 * Frame: px from the rough point, t across and s along the apical direction. A lane is a strip of
 * one t; its row j lies at s = j - half.
 */
#ifndef CREST_INTERNAL_H
#define CREST_INTERNAL_H

#include "find/find_internal.h"

enum {
    CREST_LANES = 33,
    CREST_HALF = 224, /* rows of a lane either way of the rough point, at most */
    CREST_ROWS = 2 * CREST_HALF + 1
};

struct crest_view {
    const struct find_image *im;
    struct geo_point origin, along, across; /* apical; geo_perp of it */
    double mm;                              /* px of a usual mm */
    double click;                           /* px: the crest lies so near to the rough point */
    double lane;                            /* px: a lane's width, and to the next */
    struct find_kernel kernel;
    size_t half;
    float level[CREST_LANES][CREST_ROWS];
    float plain[CREST_LANES][CREST_ROWS]; /* without scratches and noise */
    float step[CREST_LANES][CREST_ROWS];  /* by how much it is brighter apical of the row */
    double typical;                       /* largest step of a lane */
};

/* The way from lane to lane: s, and the step there in typical ones. */
struct crest_path {
    double s[CREST_LANES], step[CREST_LANES];
};

/* Needs im, origin, along, across, mm, click; fills the rest. False when there is no step at all.
 */
bool crest_look(struct crest_view *v);
void crest_follow(const struct crest_view *v, struct crest_path *out);
double crest_lane_at(const struct crest_view *v, size_t lane); /* its t */
/* Levels along `walk` from -half to half, every px, each the mean over [from,to] along `mean`. */
void crest_profile(const struct find_image *im, struct geo_point origin, struct geo_point walk,
                   struct geo_point mean, double from, double to, size_t half, float *out);

#endif
