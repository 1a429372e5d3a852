/*
 * Registration: how a new film of a site lies over an old one. From afar the likeliest turns, sizes
 * and shifts are found by the directions of edges (register_search.c); each is then drawn near by
 * small blocks looked for in the other film (register_blocks.c), and the one under which the edges
 * agree best goes on to finer and finer films. What differs falls out of a robust fit.
 *
 * Method: coarse to fine after P. J. Burt, Multiresolution Image Processing (1984); block matching
 * with a robust fit after S. Ourselin et al., Image Vis. Comput. 19 (2001) 25.
 * Limits: one affine map for the whole film, so a tooth at another depth stays off by its parallax
 * (u_floor); films that share less than a fifth of the old one, or mirrored ones, are refused.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "find/register_internal.h"

/* From afar to near: longer side of the reduced film, blocks of 2 half + 1 px each step, looked for
 * within reach, and how far one may be off to count, at the beginning and in the end; px of it.
 * 96 px: a tooth is 15 px wide. 768 px: 0.05 mm, a quarter of a careful hand's uncertainty. */
struct level {
    size_t side;
    struct reg_lay lay;
    double widest, narrowest;
};
static const struct level levels[] = {
    {REG_SIDE_AFAR, {7, 5, 5}, 6.0, 2.0},
    {192, {8, 9, 5}, 5.0, 1.5},
    {384, {9, 14, 5}, 5.0, 1.2},
    {768, {12, 22, 5}, 5.0, 1.0},
};
enum {
    LEVELS = sizeof levels / sizeof levels[0],
    FINEST = LEVELS - 1,
    AFAR = 2,              /* levels at which every candidate is drawn near */
    PASSES = 2,            /* at each level */
    KEPT = 16,             /* candidates */
    LEAST_SIDE = 64,       /* px of a film */
    PLACES_MOST = 36 * 36, /* of the finest level: 768 / 22 each way */
    AFFINE_LEAST = 40      /* places that agree, for six unknowns instead of four */
};
static const double longest_to_short = 4.0; /* no sensor is longer */

/* More places than chance lets agree are asked for, by so many of chance's standard deviations:
 * beside the one line along which most lie (an edge of the beam's cone or of a holder tells nothing
 * of the site), and outside the one disc that holds most. It takes in an implant of 13 mm with its
 * abutment of 6 on a film 38 mm long (common practice, no source): another mouth's may be of the
 * same make, and with one crown's edge beside it two mouths came to 9.6 beside the line. Outside
 * the disc two mouths came to 1.6 at the most (74 pairs, 62 of them with drill, sensor and implant
 * alike); films with their bone in common to 7.7 at the least (20 pairs); where every trabecula and
 * the crest have changed eight of 20 pairs lie below one bar or the other and are refused
 * (phantoms, tests/bench/bench_register.c). */
static const double least_sds = 6.0, least_sds_outside = 2.8;
static const double line_of_side = 0.03, disc_of_side = 0.25; /* of the old film's longer side */
/* Below so many a mirrored film, whose crowns and implants are nearly their own mirror, is tried
 * too; of 20 pairs with bone in common 19 reach 27 and more. */
static const double certain_sds = 20.0;
/* Edges of two sites agreed by up to 0.30, of one site by 0.11 at the least where all bone had
 * changed, by 0.31 where it had not: this keeps out only what is plainly off. */
static const double least_agreement = 0.14;
static const double least_common = 0.20; /* of the places of the old film */
/* An exposure 20 degrees off shortens by 6 %; more is no film of the same site. */
static const double most_stretch = 0.12;

/* Teeth stand 0.75 mm before or behind the bone's middle, and a second exposure is 3 degrees off
 * (standard deviations; common practice, no source): 0.039 mm, of a film 35 mm long. */
static const double parallax_of_side = 0.0011;
static const double near_of_side = 0.10; /* how far round a point its neighbours tell its u */
static const double prior_places = 4.0;  /* that all places together count among the neighbours */
/* Median of the rms of two normal coordinates is 0.83 of their standard deviation. */
static const double sd_per_median = 1.2;
static const double places_per_free = 4.0; /* blocks overlap by half each way */

/* A pin covers about so many of its widths either way of its axis, its collar and stop among them,
 * from its tip to the film's edge. */
static const double widths_covered = 1.0;

struct pair {
    struct reg_field old_film[LEVELS], new_film[LEVELS];
    struct find_pins old_pins, new_pins;
};

static void release_pair(struct pair *p)
{
    for (int i = 0; i < LEVELS; i++) {
        reg_field_release(&p->old_film[i]);
        reg_field_release(&p->new_film[i]);
    }
    plumb_find_pins_release(&p->old_pins);
    plumb_find_pins_release(&p->new_pins);
}

static int make_pair(const struct film *old_film, const struct film *new_film, struct pair *out,
                     struct err *err)
{
    int rc = plumb_find_pins(old_film, NULL, &out->old_pins, err);
    if (rc == 0)
        rc = plumb_find_pins(new_film, NULL, &out->new_pins, err);
    for (int i = 0; rc == 0 && i < FINEST; i++) {
        rc = reg_field_make(old_film, levels[i].side, &out->old_film[i], err);
        if (rc == 0)
            rc = reg_field_make(new_film, levels[i].side, &out->new_film[i], err);
    }
    if (rc == 0) /* the finest are matched by blocks alone */
        rc = find_image_reduce(old_film, levels[FINEST].side, &out->old_film[FINEST].image, err);
    if (rc == 0)
        rc = find_image_reduce(new_film, levels[FINEST].side, &out->new_film[FINEST].image, err);
    return rc;
}

static int check_film(const struct film *f, const char *which, struct err *err)
{
    double a = (double)f->width, b = (double)f->height;
    if (fmin(a, b) < LEAST_SIDE || fmax(a, b) > longest_to_short * fmin(a, b))
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the %s film is too small or too narrow to be matched: %zu x %zu px",
                             which, f->width, f->height);
    return 0;
}

static bool is_under(const struct find_pins *pins, struct geo_point p)
{
    for (size_t i = 0; i < pins->n; i++) {
        const struct find_pin *pin = &pins->at[i];
        double reach = widths_covered * pin->width,
               from_tip = geo_dot(geo_sub(p, pin->tip), pin->axis.dir);
        if (from_tip < reach && fabs(plumb_geo_across(&pin->axis, p)) < reach)
            return true;
    }
    return false;
}

/* One drill is like another, whoever's mouth it stands in: what pins cover tells nothing. */
static void leave_out_pins(const struct pair *p, const struct find_map *map, struct reg_blocks *b)
{
    size_t n = 0;
    for (size_t i = 0; i < b->n; i++)
        if (!is_under(&p->old_pins, b->at[i].at) &&
            !is_under(&p->new_pins, reg_map_point(map, b->at[i].at)))
            b->at[n++] = b->at[i];
    b->n = n;
}

/* Draws the map near at one level. ok: enough blocks agree. affine in and out. */
static int draw_near(const struct pair *p, int level, bool affine, struct find_map *map,
                     int *polarity, struct reg_blocks *b, bool *ok, struct err *err)
{
    const struct level *l = &levels[level];
    const struct find_image *im = &p->old_film[level].image;
    *ok = false;
    int rc = reg_blocks_match(im, &p->new_film[level].image, map, &l->lay, polarity, b, err);
    if (rc == 0)
        leave_out_pins(p, map, b);
    if (rc == 0)
        *ok = reg_blocks_fit(b, affine, l->widest * im->scale, l->narrowest * im->scale, map);
    return rc;
}

struct candidate {
    struct find_map map;
    int polarity; /* 0: not known yet */
    double agreement;
};

/* A candidate from afar, drawn near at the coarse levels; agreement below 0: it leads nowhere. */
static int follow(const struct pair *p, struct candidate *c, struct err *err)
{
    bool ok = true;
    int rc = 0;
    for (int i = 0; rc == 0 && ok && i < AFAR * PASSES; i++) {
        struct reg_blocks b = {0};
        rc = draw_near(p, i / PASSES, false, &c->map, &c->polarity, &b, &ok, err);
        reg_blocks_release(&b);
    }
    c->agreement = -1.0;
    if (rc == 0 && ok)
        c->agreement = reg_field_agreement(&p->old_film[AFAR - 1], &p->new_film[AFAR - 1], &c->map);
    return rc;
}

static int best_candidate(const struct pair *p, struct candidate *best, struct err *err)
{
    struct find_map map[KEPT];
    size_t n = 0;
    int rc = reg_search(&p->old_film[0], &p->new_film[0], map, KEPT, &n, err);
    *best = (struct candidate){.agreement = -1.0};
    for (size_t i = 0; rc == 0 && i < n; i++) {
        struct candidate c = {.map = map[i]};
        rc = follow(p, &c, err);
        if (rc == 0 && c.agreement > best->agreement)
            *best = c;
    }
    return rc;
}

/* Longer side in film pixels. */
static double side_of(const struct find_image *im)
{
    return im->scale * (double)(im->width > im->height ? im->width : im->height);
}

/* How many of the blocks would agree if each were found anywhere within reach: the share of the
 * places there that lie within the last width, as far as the block tells directions. */
static double by_chance(const struct reg_blocks *b)
{
    const struct level *l = &levels[FINEST];
    double side = 2.0 * l->lay.reach - 1.0, sum = 0.0;
    for (size_t i = 0; i < b->n; i++) {
        const struct reg_block *q = &b->at[i];
        double least = 0.5 * (q->xx + q->yy) - hypot(0.5 * (q->xx - q->yy), q->xy);
        double strip = 2.0 * l->narrowest / side;
        double spot =
            GEO_PI * l->narrowest * l->narrowest / (side * side * sqrt(fmax(least, 1e-9)));
        sum += q->alike > 0.0 ? fmin(strip, spot) : 0.0;
    }
    return sum;
}

/* How many lie beside the line along which most of them do. */
static size_t beside_line(const struct geo_point *at, size_t n, double near)
{
    struct geo_fit fit;
    size_t beside = 0;
    if (plumb_geo_fit_robust(at, NULL, n, 1.0, &fit, NULL) != 0)
        return 0;
    for (size_t i = 0; i < n; i++)
        beside += fabs(plumb_geo_across(&fit.line, at[i])) > near;
    return beside;
}

/* How many lie outside the disc, about one of them, that holds most. */
static size_t beside_disc(const struct geo_point *at, size_t n, double near)
{
    size_t beside = n;
    for (size_t i = 0; i < n; i++) {
        size_t outside = 0;
        for (size_t j = 0; j < n; j++)
            outside += geo_dist(at[i], at[j]) > near;
        beside = outside < beside ? outside : beside;
    }
    return beside;
}

/* What stands for a match: places beside the line and outside the disc, in standard deviations of
 * chance above it. */
struct evidence {
    double beside, outside;
};

static double over_chance(size_t n, double chance)
{
    return ((double)n - chance) / sqrt(chance + 1.0);
}

static int weigh_evidence(const struct reg_blocks *b, double side, struct evidence *out,
                          struct err *err)
{
    struct geo_point *at = plumb_mem_array(b->n, sizeof *at, err);
    double chance = by_chance(b);
    size_t n = 0;
    if (at == NULL)
        return ERR_NOMEM;
    for (size_t i = 0; i < b->n; i++)
        if (b->at[i].weight > 0.0)
            at[n++] = b->at[i].at;
    out->beside = over_chance(beside_line(at, n, line_of_side * side), chance);
    out->outside = over_chance(beside_disc(at, n, disc_of_side * side), chance);
    free(at);
    return 0;
}

static int keep_places(const struct reg_blocks *b, struct find_register *out, struct err *err)
{
    double k = reg_map_scale(&out->map);
    out->place = plumb_mem_array(b->n, sizeof *out->place, err);
    if (out->place == NULL)
        return ERR_NOMEM;
    for (size_t i = 0; i < b->n; i++) {
        const struct reg_block *q = &b->at[i];
        bool found = q->alike > 0.0;
        double off = found ? k * reg_block_off(q) / sqrt(q->xx + q->yy) : 0.0;
        out->place[i] = (struct find_place){q->at, found, off, q->weight > 0.0};
    }
    out->n_places = b->n;
    out->n_agree = reg_blocks_agreeing(b);
    return 0;
}

/* How far the map is from turning and scaling alone: ratio of its longest to its shortest stretch,
 * less 1. */
static double stretch(const struct find_map *m)
{
    double same = hypot(m->xx + m->yy, m->yx - m->xy), other = hypot(m->xx - m->yy, m->yx + m->xy);
    return same > other ? (same + other) / (same - other) - 1.0 : HUGE_VAL;
}

/* From the coarse levels' map to the finest. found: enough blocks agreed all the way. */
static int finish(const struct pair *p, struct candidate *c, struct find_register *out,
                  struct evidence *evidence, bool *found, struct err *err)
{
    int rc = 0;
    *found = true;
    for (int i = AFAR * PASSES; rc == 0 && *found && i < LEVELS * PASSES; i++) {
        struct reg_blocks b = {0};
        bool last = i == LEVELS * PASSES - 1;
        rc = draw_near(p, i / PASSES, out->affine, &c->map, &c->polarity, &b, found, err);
        if (rc == 0 && *found && i / PASSES == FINEST)
            out->affine = reg_blocks_agreeing(&b) >= AFFINE_LEAST;
        out->map = c->map;
        if (rc == 0 && *found && last)
            rc = keep_places(&b, out, err);
        if (rc == 0 && *found && last)
            rc = weigh_evidence(&b, side_of(&p->old_film[FINEST].image), evidence, err);
        reg_blocks_release(&b);
    }
    return rc;
}

static int refuse(const struct find_register *r, const struct evidence *e, size_t places,
                  struct err *err)
{
    static const char hint[] = "another site, a mirrored film, or too little of it in common";
    if (stretch(&r->map) > most_stretch)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the films do not match: one would have to be stretched by %.0f %% to "
                             "lie over the other: %s",
                             100.0 * stretch(&r->map), hint);
    if ((double)r->n_places < least_common * (double)places)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the films do not match: they would share %.0f %% of the old film "
                             "only: %s",
                             100.0 * (double)r->n_places / (double)places, hint);
    if (e->beside < least_sds || e->outside < least_sds_outside || r->agreement < least_agreement)
        return plumb_err_set(err, ERR_NOTFOUND,
                             "the films do not match: only %zu of %zu places of the old film are "
                             "found again in the new one: %s",
                             r->n_agree, r->n_places, hint);
    return 0;
}

/* Places that blocks can take on the whole old film. */
static size_t places_of(const struct find_image *im)
{
    size_t step = levels[FINEST].lay.step;
    return (im->width / step) * (im->height / step);
}

static void describe(const struct pair *p, const struct candidate *c, struct find_register *out)
{
    const struct find_map *m = &out->map;
    out->turned_over = c->polarity < 0;
    out->scale = reg_map_scale(m);
    out->turn_rad = atan2(m->yx - m->xy, m->xx + m->yy);
    out->agreement = reg_field_agreement(&p->old_film[AFAR], &p->new_film[AFAR], m);
    out->old_side = side_of(&p->old_film[FINEST].image);
    out->u_floor = parallax_of_side * out->scale * out->old_side;
}

/* Lays one film over the other; ERR_NOTFOUND when nothing stands for it. out is to be released in
 * any case. */
static int lay_over(const struct film *old_film, const struct film *new_film,
                    struct find_register *out, struct evidence *evidence, struct err *err)
{
    struct pair p = {0};
    struct candidate c;
    bool found = false;
    *out = (struct find_register){0};
    int rc = make_pair(old_film, new_film, &p, err);
    if (rc == 0)
        rc = best_candidate(&p, &c, err);
    if (rc == 0 && c.agreement > -1.0)
        rc = finish(&p, &c, out, evidence, &found, err);
    if (rc == 0 && !found)
        rc = plumb_err_set(err, ERR_NOTFOUND,
                           "the films do not match: no turn, size and shift lays one over the "
                           "other: another site, a mirrored film, or nothing to be seen");
    if (rc == 0) {
        describe(&p, &c, out);
        rc = refuse(out, evidence, places_of(&p.old_film[FINEST].image), err);
    }
    release_pair(&p);
    return rc;
}

static int mirror(const struct film *film, struct film *out, struct err *err)
{
    *out = (struct film){.width = film->width, .height = film->height};
    out->grey = plumb_mem_array(film->width * film->height, sizeof *out->grey, err);
    if (out->grey == NULL)
        return ERR_NOMEM;
    for (size_t y = 0; y < film->height; y++) {
        const uint16_t *from = film->grey + y * film->width;
        uint16_t *to = out->grey + y * film->width;
        for (size_t x = 0; x < film->width; x++)
            to[x] = from[film->width - 1 - x];
    }
    return 0;
}

/* Does the mirrored film lie better over the old one? */
static int refuse_mirrored(const struct film *old_film, const struct film *new_film,
                           const struct evidence *evidence, struct err *err)
{
    struct film mirrored;
    struct find_register r;
    struct evidence other = {0};
    struct err why = {0};
    int rc = mirror(new_film, &mirrored, err);
    if (rc != 0)
        return rc;
    int fits = lay_over(old_film, &mirrored, &r, &other, &why);
    if (fits == ERR_NOMEM)
        rc = plumb_err_set(err, ERR_NOMEM, "%s", why.text);
    else if (fits == 0 && other.beside > evidence->beside)
        rc = plumb_err_set(err, ERR_NOTFOUND,
                           "the films do not match, but one and the mirror of the other do: export "
                           "both alike");
    plumb_find_register_release(&r);
    plumb_film_release(&mirrored);
    return rc;
}

int plumb_find_register(const struct film *old_film, const struct film *new_film,
                        struct find_register *out, struct err *err)
{
    struct evidence evidence = {0};
    *out = (struct find_register){0};
    int rc = check_film(old_film, "old", err);
    if (rc == 0)
        rc = check_film(new_film, "new", err);
    if (rc == 0)
        rc = lay_over(old_film, new_film, out, &evidence, err);
    if (rc == 0 && evidence.beside < certain_sds)
        rc = refuse_mirrored(old_film, new_film, &evidence, err);
    if (rc != 0)
        plumb_find_register_release(out);
    return rc;
}

void plumb_find_register_release(struct find_register *r)
{
    if (r == NULL)
        return;
    free(r->place);
    *r = (struct find_register){0};
}

/* --- uncertainty ---------------------------------------------------------------------------------
 */

/* How much each place tells about p: as a neighbour, and a little as one of all. */
static double weigh_places(const struct find_register *r, struct geo_point p, double *weight)
{
    double total = 0.0, near = near_of_side * r->old_side;
    for (size_t i = 0; i < r->n_places; i++) {
        double d = geo_dist(r->place[i].at, p) / near;
        weight[i] = 0.0;
        if (!r->place[i].found)
            continue;
        weight[i] = exp(-0.5 * d * d) + prior_places / (double)r->n_places;
        total += weight[i];
    }
    return total;
}

/* Standard deviation of the places about p, by their weighted median. */
static double local_u(const struct find_register *r, struct geo_point p)
{
    enum { HALVINGS = 20 }; /* to a millionth of the farthest */
    double weight[PLACES_MOST], half = 0.5 * weigh_places(r, p, weight), lo = 0.0, hi = 0.0;
    for (size_t i = 0; i < r->n_places; i++)
        hi = fmax(hi, r->place[i].off);
    for (int k = 0; k < HALVINGS; k++) {
        double middle = 0.5 * (lo + hi), below = 0.0;
        for (size_t i = 0; i < r->n_places; i++)
            below += r->place[i].off <= middle ? weight[i] : 0.0;
        if (below < half)
            lo = middle;
        else
            hi = middle;
    }
    return sd_per_median * hi;
}

/* What the places that agree leave the map free to be off at this point: as of a straight line,
 * growing with the distance from their middle. */
static double map_u(const struct find_register *r, struct geo_point p)
{
    struct geo_point sum = {0.0, 0.0};
    double n = (double)r->n_agree, far = 0.0, off = 0.0;
    for (size_t i = 0; i < r->n_places; i++)
        if (r->place[i].agrees)
            sum = geo_add(sum, r->place[i].at);
    struct geo_point middle = geo_mul(sum, 1.0 / n);
    for (size_t i = 0; i < r->n_places; i++) {
        double d = geo_dist(r->place[i].at, middle);
        if (!r->place[i].agrees)
            continue;
        far += d * d / n;
        off += r->place[i].off * r->place[i].off / n;
    }
    double d = geo_dist(p, middle);
    return sqrt(off * (1.0 + 2.0 * d * d / far) * places_per_free / n);
}

struct geo_point plumb_find_register_point(const struct find_register *r, struct geo_point old,
                                           double *u)
{
    double local = local_u(r, old), own = map_u(r, old);
    *u = sqrt(r->u_floor * r->u_floor + local * local + own * own);
    return reg_map_point(&r->map, old);
}
