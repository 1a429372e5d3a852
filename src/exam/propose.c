/*
 * Proposing marks: what the finder found, put into the sheet as `found` for a person to confirm.
 * What a hand has set stays.
 */
#include "plumbrule/exam.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A coordinate in the sheet has three decimals; an uncertainty below that would print as none. */
static const double least_sd_px = 0.001;

static struct mark found(struct geo_point p, double u)
{
    return (struct mark){
        .set = true, .x = p.x, .y = p.y, .sd = fmax(u, least_sd_px), .by = MARK_FOUND};
}

/* Only where no person has been: what one has confirmed stays as it is. */
static void put(struct mark *m, struct geo_point p, double u)
{
    if (!m->set || plumb_mark_is_found(m))
        *m = found(p, u);
}

/* Which flank of the pin faces mesial: from the frame when there is one, else from the tooth. */
static int mesial_flank(const struct exam *e, const struct find_pin *pin)
{
    struct geo_point across = geo_perp(pin->axis.dir);
    const struct meas_frame *f = &e->result.frame;
    if (f->set && f->has_mesial)
        return f->mx * across.x + f->my * across.y >= 0.0 ? 0 : 1;
    if (e->sheet.site.tooth == 0)
        return -1;
    int turn = plumb_tooth_mesial_turn(e->sheet.site.tooth);
    if (e->sheet.site.seen_from == SEEN_FROM_LINGUAL)
        turn = -turn;
    return turn > 0 ? 0 : 1;
}

static void put_side(struct mark side[2], const struct find_pin *pin, int flank)
{
    put(&side[0], pin->flank[flank][0], pin->u_flank);
    put(&side[1], pin->flank[flank][1], pin->u_flank);
}

static void put_pin(const struct exam *e, const struct find_pin *pin, struct sheet_pin *p)
{
    put(&p->tip, pin->tip, pin->u_tip);
    if (pin->has_shoulder)
        put(&p->shoulder, pin->shoulder, pin->u_shoulder);
    if (pin->has_stop)
        put(&p->stop, pin->stop, pin->u_stop);
    put(&p->axis[0], pin->ends[0], pin->u_ends);
    put(&p->axis[1], pin->ends[1], pin->u_ends);
    int flank = mesial_flank(e, pin);
    if (flank < 0)
        return;
    put_side(p->side[MESIAL], pin, flank);
    put_side(p->side[DISTAL], pin, 1 - flank);
}

/* Has that pin been marked already, by a hand or on an earlier run? Two pins cannot stand nearer
 * than a pin's width. */
static bool is_marked(const struct sheet_pin *p, const struct find_pin *found)
{
    struct geo_point tip = {p->tip.x, p->tip.y};
    return p->tip.set && geo_dist(tip, found->tip) < found->width;
}

/* The one that is meant is the pin, if no hand has set another; each other one goes where it is
 * already, or becomes one more; NULL when the sheet is full. */
static struct sheet_pin *place_of(struct sheet *s, const struct find_pin *found, bool meant)
{
    bool open = !s->pin.tip.set || plumb_mark_is_found(&s->pin.tip);
    if ((meant && open) || is_marked(&s->pin, found))
        return &s->pin;
    for (size_t i = 0; i < s->n_pins; i++)
        if (is_marked(&s->pins[i], found))
            return &s->pins[i];
    return s->n_pins < SHEET_PINS ? &s->pins[s->n_pins++] : NULL;
}

/* The one that is meant: nearest to the hint, else the surest. */
static size_t main_pin(const struct exam *e, const struct find_pins *pins)
{
    struct geo_point hint = {e->pin_hint_x, e->pin_hint_y};
    double nearest = HUGE_VAL;
    size_t best = 0;
    for (size_t i = 0; e->has_pin_hint && i < pins->n; i++) {
        const struct find_pin *p = &pins->at[i];
        struct geo_point body[2] = {p->tip, geo_sub(p->tip, geo_mul(p->axis.dir, p->length))};
        double d = plumb_geo_polyline_nearest(body, 2, hint, NULL, NULL);
        if (d < nearest) {
            nearest = d;
            best = i;
        }
    }
    return best;
}

/* Returns the found pin that stands as `pin`; NULL when a hand has set another. */
static const struct find_pin *put_pins(struct exam *e, const struct find_pins *pins)
{
    const struct find_pin *first = NULL;
    size_t meant = main_pin(e, pins);
    for (size_t k = 0; k < pins->n; k++) { /* the one that is meant, then the others in order */
        size_t i = k == 0 ? meant : k <= meant ? k - 1 : k;
        struct sheet_pin *p = place_of(&e->sheet, &pins->at[i], k == 0);
        if (p != NULL)
            put_pin(e, &pins->at[i], p);
        if (p == &e->sheet.pin)
            first = &pins->at[i];
    }
    return first;
}

/* The width, drawn across the axis where the flanks were fitted. */
static void put_across(struct sheet_gauge *g, const struct find_pin *pin)
{
    struct geo_point off = geo_mul(geo_perp(pin->axis.dir), 0.5 * pin->width);
    double u = pin->u_width / sqrt(2.0);
    g->end[0] = found(geo_sub(pin->axis.at, off), u);
    g->end[1] = found(geo_add(pin->axis.at, off), u);
}

static void put_length(struct sheet_gauge *g, const struct find_pin *pin)
{
    if (!pin->has_shoulder)
        return;
    g->end[0] = found(pin->shoulder, pin->u_shoulder);
    g->end[1] = found(pin->tip, pin->u_tip);
}

/* The gauge of that kind, new when there is none; NULL when the sheet is full. */
static struct sheet_gauge *gauge_slot(struct sheet *s, const struct exam_gauge *want)
{
    for (size_t i = 0; i < s->n_gauges; i++)
        if (s->gauge[i].kind == want->kind &&
            (!s->gauge[i].end[0].set || plumb_mark_is_found(&s->gauge[i].end[0])))
            return &s->gauge[i];
    if (s->n_gauges >= SHEET_GAUGES)
        return NULL;
    struct sheet_gauge *g = &s->gauge[s->n_gauges++];
    *g = (struct sheet_gauge){.kind = want->kind};
    plumb_text_copy(g->name, sizeof g->name,
                    want->kind == GAUGE_LENGTH ? "drill, tip to shoulder" : "drill diameter");
    return g;
}

static int put_gauges(struct exam *e, const struct find_pin *pin, const struct exam_gauge *want,
                      size_t n, struct err *err)
{
    for (size_t i = 0; i < n; i++) {
        struct sheet_gauge *g = gauge_slot(&e->sheet, &want[i]);
        if (g == NULL)
            return plumb_err_set(err, ERR_LIMIT, "more than %d gauges: leave some out",
                                 SHEET_GAUGES);
        g->mm = want[i].mm;
        if (want[i].u_mm > 0.0)
            g->u_mm = want[i].u_mm;
        if (pin != NULL && want[i].kind == GAUGE_ACROSS)
            put_across(g, pin);
        else if (pin != NULL)
            put_length(g, pin);
    }
    return 0;
}

int plumb_exam_propose(struct exam *e, const struct exam_gauge *gauges, size_t n_gauges,
                       size_t *n_pins, struct err *err)
{
    struct find_pins pins;
    int rc = plumb_find_pins(&e->film, NULL, &pins, err);
    if (rc != 0)
        return rc;
    *n_pins = pins.n;
    rc = put_gauges(e, put_pins(e, &pins), gauges, n_gauges, err);
    plumb_find_pins_release(&pins);
    return rc != 0 ? rc : plumb_exam_measure(e, err);
}

/* --- roots and crest ---------------------------------------------------------------------------
 */

/* A gap in a side is bridged by the smooth root, with a wider uncertainty: without those points the
 * mid-line would be that of a part of the root. */
static int put_path(struct mark_path *path, const struct find_edge_point *pts, size_t n,
                    struct err *err)
{
    struct mark *at = plumb_mem_array(n, sizeof *at, err);
    if (at == NULL)
        return ERR_NOMEM;
    for (size_t i = 0; i < n; i++)
        at[i] = found(pts[i].at, pts[i].u);
    struct mark_path old = *path;
    *path = (struct mark_path){.at = at, .n = n};
    struct sheet scratch = {0};
    plumb_sheet_init(&scratch);
    scratch.side[MESIAL].near = old; /* released by the sheet's own rule */
    plumb_sheet_release(&scratch);
    return 0;
}

/* Which of the found sides faces the site: the one nearer to the other neighbour, else to the pin's
 * crown end (a leaning pin's tip may lie over the root), else to the site's tooth; -1 when nothing
 * tells. */
static int near_side(const struct exam *e, enum sheet_side side, const struct find_root *root)
{
    const struct sheet *s = &e->sheet;
    const struct sheet_neighbour *other = &s->side[1 - side];
    const struct mark *toward[] = {&other->apex,    &other->crest, &s->pin.shoulder,
                                   &s->pin.axis[0], &s->pin.tip,   &s->site_tooth.apex};
    for (size_t i = 0; i < sizeof toward / sizeof toward[0]; i++) {
        struct geo_point p = {toward[i]->x, toward[i]->y};
        if (toward[i]->set)
            return plumb_geo_across(&root->midline, p) > 0.0 ? 0 : 1;
    }
    if (s->site.tooth == 0)
        return -1;
    int turn = plumb_tooth_mesial_turn(s->site.tooth);
    if (s->site.seen_from == SEEN_FROM_LINGUAL)
        turn = -turn;
    /* The mesial neighbour's near side looks distally. */
    return (turn > 0) == (side == DISTAL) ? 0 : 1;
}

/* A rough click is up to 10 px off, evenly: 10/sqrt 3. */
static const double rough_click_u_px = 6.0;

/* The click tells how deep the apex lies; the sides tell better where it lies across. */
static struct geo_point rough_apex(const struct find_root *root, struct geo_point click)
{
    if (root->n[0] == 0 || root->n[1] == 0)
        return click;
    struct geo_point end =
        geo_mix(root->side[0][root->n[0] - 1].at, root->side[1][root->n[1] - 1].at, 0.5);
    double deeper = geo_dot(geo_sub(click, end), root->midline.dir);
    return geo_add(end, geo_mul(root->midline.dir, deeper));
}

/* The root's sides and apex into the sheet; its mid-line to the caller. An axis found before, of
 * whatever roots, goes. */
static int put_root(struct exam *e, enum sheet_side side, struct geo_point crown,
                    struct geo_point apex, struct geo_line *midline, struct err *err)
{
    struct find_root root;
    int rc = plumb_find_root(&e->film, crown, apex, &root, err);
    if (rc != 0)
        return rc;
    struct sheet_neighbour *nb = &e->sheet.side[side];
    int near = near_side(e, side, &root);
    if (near < 0)
        rc = plumb_err_set(err, ERR_ARG,
                           "which side faces the site cannot be told: state the "
                           "tooth or mark the pin first");
    if (rc == 0)
        rc = put_path(&nb->near, root.side[near], root.n[near], err);
    if (rc == 0)
        rc = put_path(&nb->far, root.side[1 - near], root.n[1 - near], err);
    if (rc == 0)
        put(&nb->apex, rough_apex(&root, apex), rough_click_u_px);
    for (int k = 0; rc == 0 && k < 2; k++)
        if (plumb_mark_is_found(&nb->axis[k]))
            nb->axis[k] = (struct mark){0};
    *midline = root.midline;
    plumb_find_root_release(&root);
    return rc;
}

int plumb_exam_propose_root(struct exam *e, enum sheet_side side, double crown_x, double crown_y,
                            double apex_x, double apex_y, struct err *err)
{
    struct geo_point crown = {crown_x, crown_y}, apex = {apex_x, apex_y};
    struct geo_line midline;
    int rc = put_root(e, side, crown, apex, &midline, err);
    return rc != 0 ? rc : plumb_exam_measure(e, err);
}

/* The line as two points whose errors across it are independent, as find.h gives a pin's; not
 * beside one that a hand has placed. */
static void put_axis(struct mark axis[2], const struct geo_line *l, double length)
{
    for (int k = 0; k < 2; k++)
        if (axis[k].set && !plumb_mark_is_found(&axis[k]))
            return;
    double h = fmin(0.5 * length, l->u_offset / l->u_angle), u = sqrt(2.0) * h * l->u_angle;
    put(&axis[0], plumb_geo_on(l, -h), u);
    put(&axis[1], plumb_geo_on(l, h), u);
}

int plumb_exam_propose_two_roots(struct exam *e, enum sheet_side side, const double near[4],
                                 const double other[4], struct err *err)
{
    struct geo_point crown[2] = {{near[0], near[1]}, {other[0], other[1]}};
    struct geo_point apex[2] = {{near[2], near[3]}, {other[2], other[3]}};
    struct find_root root = {0};
    struct geo_line midline;
    int rc = put_root(e, side, crown[0], apex[0], &midline, err);
    if (rc == 0)
        rc = plumb_find_root(&e->film, crown[1], apex[1], &root, err);
    if (rc == 0) {
        struct geo_line axis = plumb_geo_bisector(&midline, &root.midline);
        put_axis(e->sheet.side[side].axis, &axis, geo_dist(crown[0], apex[0]));
    }
    plumb_find_root_release(&root);
    return rc != 0 ? rc : plumb_exam_measure(e, err);
}

int plumb_exam_propose_crest(struct exam *e, enum sheet_side side, double x, double y,
                             struct err *err)
{
    const struct meas_frame *f = &e->result.frame;
    struct geo_point apical = {f->ax, f->ay}, rough = {x, y};
    if (!f->set && e->sheet.site.tooth != 0)
        apical = (struct geo_point){0.0, plumb_tooth_is_upper(e->sheet.site.tooth) ? -1.0 : 1.0};
    else if (!f->set)
        return plumb_err_set(err, ERR_ARG,
                             "which way is apical cannot be told: mark the pin or a "
                             "root first, or state the tooth");
    struct find_crest crest;
    int rc = plumb_find_crest(&e->film, rough, apical, &crest, err);
    if (rc != 0)
        return rc;
    e->sheet.side[side].crest = found(crest.at, crest.u);
    return plumb_exam_measure(e, err);
}
