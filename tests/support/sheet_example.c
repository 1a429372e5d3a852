#include "tests/support/sheet_example.h"

#include <stdio.h>
#include <string.h>

const char sheet_example_text[] =
    "{\n"
    "  \"format\": \"plumbrule-sheet\",\n"
    "  \"version\": 1,\n"
    "  \"film\": {\n"
    "    \"file\": \"films/site35-pin.png\",\n"
    "    \"sha256\": \"0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef\",\n"
    "    \"width\": 1100,\n"
    "    \"height\": 1500,\n"
    "    \"taken\": \"2026-03-02\",\n"
    "    \"stage\": \"first drill\",\n"
    "    \"sensor_mm\": 36.2\n"
    "  },\n"
    "  \"site\": {\n"
    "    \"tooth\": \"35\",\n"
    "    \"notation\": \"fdi\",\n"
    "    \"seen_from\": \"lingual\",\n"
    "    \"extracted\": \"2026-03-02\",\n"
    "    \"grafted\": \"2026-03-03\",\n"
    "    \"age_years\": 46.5\n"
    "  },\n"
    "  \"gauges\": [\n"
    "    {\n"
    "      \"name\": \"drill, tip to shoulder\",\n"
    "      \"kind\": \"length\",\n"
    "      \"mm\": 12,\n"
    "      \"u_mm\": 0.05,\n"
    "      \"tip\": \"cone\",\n"
    "      \"ends\": [\n"
    "        {\"x\": 540.2, \"y\": 410, \"sd\": 0.4, \"by\": \"found\", \"confirmed\": true},\n"
    "        {\"x\": 552.9, \"y\": 812.7}\n"
    "      ]\n"
    "    },\n"
    "    {\n"
    "      \"name\": \"drill diameter\",\n"
    "      \"kind\": \"across\",\n"
    "      \"mm\": 2.2,\n"
    "      \"ends\": [\n"
    "        {\"x\": 510.125, \"y\": 600, \"by\": \"moved\"},\n"
    "        null\n"
    "      ]\n"
    "    }\n"
    "  ],\n"
    "  \"pin\": {\n"
    "    \"name\": \"site 35\",\n"
    "    \"tip\": {\"x\": 552.9, \"y\": 812.7, \"by\": \"carried\"},\n"
    "    \"shoulder\": {\"x\": 540.2, \"y\": 410},\n"
    "    \"stop\": {\"x\": 538, \"y\": 350},\n"
    "    \"axis\": [\n"
    "      {\"x\": 540, \"y\": 411},\n"
    "      {\"x\": 552, \"y\": 812}\n"
    "    ],\n"
    "    \"mesial_side\": [\n"
    "      {\"x\": 505, \"y\": 411},\n"
    "      {\"x\": 517, \"y\": 812}\n"
    "    ],\n"
    "    \"distal_side\": [\n"
    "      {\"x\": 575, \"y\": 411},\n"
    "      {\"x\": 587, \"y\": 812}\n"
    "    ]\n"
    "  },\n"
    "  \"pins\": [\n"
    "    {\n"
    "      \"name\": \"site 36\",\n"
    "      \"tip\": {\"x\": 700, \"y\": 800},\n"
    "      \"axis\": [\n"
    "        {\"x\": 690, \"y\": 400},\n"
    "        {\"x\": 700, \"y\": 800}\n"
    "      ],\n"
    "      \"mesial_side\": [\n"
    "        {\"x\": 660, \"y\": 400},\n"
    "        {\"x\": 670, \"y\": 800}\n"
    "      ]\n"
    "    },\n"
    "    {\n"
    "      \"shoulder\": {\"x\": 900, \"y\": 410}\n"
    "    }\n"
    "  ],\n"
    "  \"mesial\": {\n"
    "    \"tooth\": \"34\",\n"
    "    \"axis\": [\n"
    "      {\"x\": 300, \"y\": 380},\n"
    "      {\"x\": 320, \"y\": 900}\n"
    "    ],\n"
    "    \"cej\": {\"x\": 350, \"y\": 370},\n"
    "    \"cej_far\": {\"x\": 250, \"y\": 372},\n"
    "    \"apex\": {\"x\": 321, \"y\": 905},\n"
    "    \"crest\": {\"x\": 380, \"y\": 440},\n"
    "    \"near\": [\n"
    "      {\"x\": 350, \"y\": 371},\n"
    "      {\"x\": 348.5, \"y\": 600, \"sd\": 1.25},\n"
    "      {\"x\": 330, \"y\": 890}\n"
    "    ],\n"
    "    \"far\": [\n"
    "      {\"x\": 251, \"y\": 373},\n"
    "      {\"x\": 300, \"y\": 890}\n"
    "    ]\n"
    "  },\n"
    "  \"distal\": {\n"
    "    \"tooth\": \"36\",\n"
    "    \"axis\": [\n"
    "      {\"x\": 800, \"y\": 380},\n"
    "      {\"x\": 760, \"y\": 900}\n"
    "    ],\n"
    "    \"cej\": {\"x\": 750, \"y\": 370},\n"
    "    \"cej_far\": {\"x\": 900, \"y\": 372},\n"
    "    \"apex\": {\"x\": 759, \"y\": 905},\n"
    "    \"crest\": {\"x\": 720, \"y\": 430},\n"
    "    \"near\": [\n"
    "      {\"x\": 749, \"y\": 371},\n"
    "      {\"x\": 762, \"y\": 890}\n"
    "    ],\n"
    "    \"far\": [\n"
    "      {\"x\": 899, \"y\": 373},\n"
    "      {\"x\": 780, \"y\": 890}\n"
    "    ]\n"
    "  },\n"
    "  \"site_tooth\": {\n"
    "    \"axis\": [\n"
    "      {\"x\": 541, \"y\": 400},\n"
    "      {\"x\": 551, \"y\": 850}\n"
    "    ],\n"
    "    \"top\": {\"x\": 520, \"y\": 160},\n"
    "    \"cej_mesial\": {\"x\": 490, \"y\": 380},\n"
    "    \"cej_distal\": {\"x\": 600, \"y\": 381},\n"
    "    \"apex\": {\"x\": 552, \"y\": 852},\n"
    "    \"fracture_mesial\": {\"x\": 495, \"y\": 460},\n"
    "    \"fracture_distal\": {\"x\": 595, \"y\": 430}\n"
    "  },\n"
    "  \"ridge\": {\"x\": 560, \"y\": 520},\n"
    "  \"bounds\": [\n"
    "    {\n"
    "      \"what\": \"canal roof\",\n"
    "      \"path\": [\n"
    "        {\"x\": -0.5, \"y\": 1100},\n"
    "        {\"x\": 1099, \"y\": 1150.001}\n"
    "      ]\n"
    "    },\n"
    "    {\n"
    "      \"what\": \"mental foramen\"\n"
    "    }\n"
    "  ],\n"
    "  \"plan\": {\"length_mm\": 11, \"diameter_mm\": 3.8, \"on\": \"bisector\"},\n"
    "  \"observed\": {\n"
    "    \"roots\": 1,\n"
    "    \"facial_plate\": \"missing 6 mm\",\n"
    "    \"infection\": \"none seen\",\n"
    "    \"primary_hold\": \"35 Ncm\",\n"
    "    \"soft_tissue\": \"thin\"\n"
    "  },\n"
    "  \"remarks\": \"cyclist, fell on \\\"both\\\" wheels \\\\ kerb\\n\\tcrown broken off, "
    "\xC3\xBC\"\n"
    "}\n";

static struct mark at(double x, double y)
{
    return (struct mark){.set = true, .x = x, .y = y};
}

static void set_path(struct mark_path *p, const struct mark *m, size_t n)
{
    p->at = plumb_mem_array(n, sizeof *m, NULL);
    p->n = n;
    memcpy(p->at, m, n * sizeof *m);
}

static void set_neighbours(struct sheet *s)
{
    s->side[MESIAL] = (struct sheet_neighbour){.tooth = 34,
                                               .axis = {at(300, 380), at(320, 900)},
                                               .cej = at(350, 370),
                                               .cej_far = at(250, 372),
                                               .apex = at(321, 905),
                                               .crest = at(380, 440)};
    s->side[DISTAL] = (struct sheet_neighbour){.tooth = 36,
                                               .axis = {at(800, 380), at(760, 900)},
                                               .cej = at(750, 370),
                                               .cej_far = at(900, 372),
                                               .apex = at(759, 905),
                                               .crest = at(720, 430)};
    struct mark near[] = {at(350, 371), at(348.5, 600), at(330, 890)};
    near[1].sd = 1.25;
    set_path(&s->side[MESIAL].near, near, 3);
    set_path(&s->side[MESIAL].far, (struct mark[]){at(251, 373), at(300, 890)}, 2);
    set_path(&s->side[DISTAL].near, (struct mark[]){at(749, 371), at(762, 890)}, 2);
    set_path(&s->side[DISTAL].far, (struct mark[]){at(899, 373), at(780, 890)}, 2);
}

static void set_site(struct sheet *s)
{
    s->film = (struct sheet_film){
        .file = "films/site35-pin.png",
        .sha256 = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef",
        .width = 1100,
        .height = 1500,
        .taken = "2026-03-02",
        .stage = "first drill",
        .sensor_mm = 36.2};
    s->site = (struct sheet_site){.tooth = 35,
                                  .notation = NOTATION_FDI,
                                  .seen_from = SEEN_FROM_LINGUAL,
                                  .extracted = "2026-03-02",
                                  .grafted = "2026-03-03",
                                  .age_years = 46.5};
    s->plan = (struct sheet_plan){true, 11.0, 3.8, PLAN_ON_BISECTOR};
    s->observed = (struct sheet_observed){1, "missing 6 mm", "none seen", "35 Ncm", "thin"};
    strcpy(s->remarks, "cyclist, fell on \"both\" wheels \\ kerb\n\tcrown broken off, \xC3\xBC");
}

void sheet_example(struct sheet *s)
{
    plumb_sheet_init(s);
    set_site(s);
    set_neighbours(s);
    s->n_gauges = 2;
    s->gauge[0] =
        (struct sheet_gauge){.name = "drill, tip to shoulder",
                             .kind = GAUGE_LENGTH,
                             .mm = 12.0,
                             .u_mm = 0.05,
                             .tip = GAUGE_TIP_CONE,
                             .end = {{true, 540.2, 410, 0.4, MARK_FOUND, true}, at(552.9, 812.7)}};
    s->gauge[1] = (struct sheet_gauge){.name = "drill diameter",
                                       .kind = GAUGE_ACROSS,
                                       .mm = 2.2,
                                       .end = {{true, 510.125, 600, 0, MARK_MOVED, false}}};
    s->pin = (struct sheet_pin){
        .name = "site 35",
        .tip = {true, 552.9, 812.7, 0, MARK_CARRIED, false},
        .shoulder = at(540.2, 410),
        .stop = at(538, 350),
        .axis = {at(540, 411), at(552, 812)},
        .side = {[MESIAL] = {at(505, 411), at(517, 812)}, [DISTAL] = {at(575, 411), at(587, 812)}}};
    s->n_pins = 2;
    s->pins[0] = (struct sheet_pin){.name = "site 36",
                                    .tip = at(700, 800),
                                    .axis = {at(690, 400), at(700, 800)},
                                    .side = {[MESIAL] = {at(660, 400), at(670, 800)}}};
    s->pins[1] = (struct sheet_pin){.shoulder = at(900, 410)};
    s->site_tooth =
        (struct sheet_site_tooth){.axis = {at(541, 400), at(551, 850)},
                                  .top = at(520, 160),
                                  .cej = {[MESIAL] = at(490, 380), [DISTAL] = at(600, 381)},
                                  .apex = at(552, 852),
                                  .fracture = {[MESIAL] = at(495, 460), [DISTAL] = at(595, 430)}};
    s->ridge = at(560, 520);
    s->n_bounds = 2;
    strcpy(s->bound[0].what, "canal roof");
    set_path(&s->bound[0].path, (struct mark[]){at(-0.5, 1100), at(1099, 1150.001)}, 2);
    strcpy(s->bound[1].what, "mental foramen");
}

/* --- comparing ----------------------------------------------------------------------------------
 */

static bool differs(const char *what, size_t i)
{
    printf("sheets differ in %s (%zu)\n", what, i);
    return false;
}

static bool same_mark(const struct mark *a, const struct mark *b)
{
    return a->set == b->set && (!a->set || (a->x == b->x && a->y == b->y && a->sd == b->sd &&
                                            a->by == b->by && a->confirmed == b->confirmed));
}

static bool same_marks(const struct mark *a, const struct mark *b, size_t n, const char *what)
{
    for (size_t i = 0; i < n; i++)
        if (!same_mark(&a[i], &b[i]))
            return differs(what, i);
    return true;
}

static bool same_path(const struct mark_path *a, const struct mark_path *b, const char *what)
{
    return a->n == b->n ? same_marks(a->at, b->at, a->n, what) : differs(what, a->n);
}

static bool same_words(const char *a, const char *b, const char *what)
{
    return strcmp(a, b) == 0 || differs(what, 0);
}

static bool same_film(const struct sheet_film *a, const struct sheet_film *b)
{
    return same_words(a->file, b->file, "film.file") &&
           same_words(a->sha256, b->sha256, "film.sha256") &&
           same_words(a->taken, b->taken, "film.taken") &&
           same_words(a->stage, b->stage, "film.stage") &&
           ((a->width == b->width && a->height == b->height && a->sensor_mm == b->sensor_mm) ||
            differs("film's sizes", 0));
}

static bool same_site(const struct sheet_site *a, const struct sheet_site *b)
{
    return same_words(a->extracted, b->extracted, "site.extracted") &&
           same_words(a->grafted, b->grafted, "site.grafted") &&
           ((a->tooth == b->tooth && a->notation == b->notation && a->seen_from == b->seen_from &&
             a->age_years == b->age_years) ||
            differs("site", 0));
}

static bool same_gauge(const struct sheet_gauge *a, const struct sheet_gauge *b)
{
    return same_words(a->name, b->name, "gauge's name") && same_marks(a->end, b->end, 2, "ends") &&
           ((a->kind == b->kind && a->mm == b->mm && a->u_mm == b->u_mm && a->tip == b->tip) ||
            differs("gauge", 0));
}

static bool same_neighbour(const struct sheet_neighbour *a, const struct sheet_neighbour *b)
{
    return (a->tooth == b->tooth || differs("neighbour's tooth", 0)) &&
           same_marks(a->axis, b->axis, 2, "neighbour's axis") &&
           same_marks(&a->cej, &b->cej, 1, "cej") &&
           same_marks(&a->cej_far, &b->cej_far, 1, "cej_far") &&
           same_marks(&a->apex, &b->apex, 1, "apex") &&
           same_marks(&a->crest, &b->crest, 1, "crest") && same_path(&a->near, &b->near, "near") &&
           same_path(&a->far, &b->far, "far");
}

static bool same_pin(const struct sheet_pin *a, const struct sheet_pin *b)
{
    return same_words(a->name, b->name, "pin.name") && same_marks(&a->tip, &b->tip, 1, "pin.tip") &&
           same_marks(&a->shoulder, &b->shoulder, 1, "pin.shoulder") &&
           same_marks(&a->stop, &b->stop, 1, "pin.stop") &&
           same_marks(a->axis, b->axis, 2, "pin.axis") &&
           same_marks(a->side[MESIAL], b->side[MESIAL], 2, "pin.mesial_side") &&
           same_marks(a->side[DISTAL], b->side[DISTAL], 2, "pin.distal_side");
}

static bool same_site_tooth(const struct sheet_site_tooth *a, const struct sheet_site_tooth *b)
{
    return same_marks(a->axis, b->axis, 2, "site_tooth.axis") &&
           same_marks(&a->top, &b->top, 1, "site_tooth.top") &&
           same_marks(a->cej, b->cej, 2, "site_tooth.cej") &&
           same_marks(&a->apex, &b->apex, 1, "site_tooth.apex") &&
           same_marks(a->fracture, b->fracture, 2, "site_tooth.fracture");
}

static bool same_rest(const struct sheet *a, const struct sheet *b)
{
    const struct sheet_plan *p = &a->plan, *q = &b->plan;
    const struct sheet_observed *o = &a->observed, *u = &b->observed;
    bool same_plan =
        p->set == q->set && (!p->set || (p->length_mm == q->length_mm &&
                                         p->diameter_mm == q->diameter_mm && p->on == q->on));
    return (same_plan || differs("plan", 0)) && (o->roots == u->roots || differs("roots", 0)) &&
           same_words(o->facial_plate, u->facial_plate, "facial_plate") &&
           same_words(o->infection, u->infection, "infection") &&
           same_words(o->primary_hold, u->primary_hold, "primary_hold") &&
           same_words(o->soft_tissue, u->soft_tissue, "soft_tissue") &&
           same_words(a->remarks, b->remarks, "remarks");
}

bool sheet_same(const struct sheet *a, const struct sheet *b)
{
    bool same = same_film(&a->film, &b->film) && same_site(&a->site, &b->site) &&
                same_pin(&a->pin, &b->pin) && same_site_tooth(&a->site_tooth, &b->site_tooth) &&
                same_marks(&a->ridge, &b->ridge, 1, "ridge") && same_rest(a, b) &&
                same_neighbour(&a->side[MESIAL], &b->side[MESIAL]) &&
                same_neighbour(&a->side[DISTAL], &b->side[DISTAL]);
    if (!same || a->n_gauges != b->n_gauges || a->n_bounds != b->n_bounds || a->n_pins != b->n_pins)
        return same && differs("counts", 0);
    for (size_t i = 0; same && i < a->n_pins; i++)
        same = same_pin(&a->pins[i], &b->pins[i]);
    for (size_t i = 0; same && i < a->n_gauges; i++)
        same = same_gauge(&a->gauge[i], &b->gauge[i]);
    for (size_t i = 0; same && i < a->n_bounds; i++)
        same = same_words(a->bound[i].what, b->bound[i].what, "bound's words") &&
               same_path(&a->bound[i].path, &b->bound[i].path, "bound's path");
    return same;
}
