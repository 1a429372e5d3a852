/* Command-line options: one table of all, each command allows some. */
#include "cli/cli_internal.h"

#include <getopt.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

enum opt {
    OPT_JSON = 1000,
    OPT_CSV,
    OPT_MISSING,
    OPT_BUDGET,
    OPT_WORKSHEET,
    OPT_NO_LEGEND,
    OPT_REPLACE,
    OPT_JOBS,
    OPT_INTO,
    OPT_OUT,
    OPT_PLOT,
    OPT_SAME_PIN,
    OPT_RECORD,
    OPT_VIEW,
    OPT_ONCE,
    OPT_TOOTH,
    OPT_NOTATION,
    OPT_SEEN_FROM,
    OPT_STAGE,
    OPT_TAKEN,
    OPT_SENSOR,
    OPT_PLAN,
    OPT_PLAN_ON,
    OPT_EXTRACTED,
    OPT_GRAFTED,
    OPT_AGE,
    OPT_MARK,
    OPT_SEEN,
    OPT_BOUND,
    OPT_GAUGE,
    OPT_PIN,
    OPT_MESIAL_ROOT,
    OPT_DISTAL_ROOT,
    OPT_MESIAL_CREST,
    OPT_DISTAL_CREST,
    OPT_LIMITS,
    OPT_BEAM_ERROR,
    OPT_FILM_CHANGED,
    OPT_MAX_PIXELS,
    OPT_PAGE
};

/* In the order of the help texts. What a command means by an option otherwise than the rest stands
 * before it, with the command's name. Lines of `does` fit beside HELP_COLUMN (help.c). */
static const struct cli_option options[] = {
    {"tooth", "NUMBER", OPT_TOOTH, NULL, "the site's, e.g. 35"},
    {"notation", "fdi|universal", OPT_NOTATION, NULL,
     "how --tooth is written: as 35, or 1-32 and A-T"},
    {"seen-from", "facial|lingual", OPT_SEEN_FROM, NULL, "the side the film is looked at from"},
    {"gauge", "KIND=MM[:U]", OPT_GAUGE, NULL,
     "a known size: length=12.0 along the pin, tip to\n"
     "shoulder, or across=2.2, its diameter; U its\n"
     "standard uncertainty, mm"},
    {"sensor", "MM", OPT_SENSOR, NULL,
     "active length of the sensor's longer side, a\n"
     "scale of last resort"},
    {"pin", "X,Y", OPT_PIN, NULL, "of several pins the one near this point, px"},
    {"mesial-root", "X,Y,X,Y", OPT_MESIAL_ROOT, NULL,
     "two rough points, crown end and apex, px; twice\n"
     "for two roots, the one that faces the site first"},
    {"distal-root", "X,Y,X,Y", OPT_DISTAL_ROOT, NULL, "the same of the distal neighbour"},
    {"mesial-crest", "X,Y", OPT_MESIAL_CREST, NULL, "one rough point near the crest, px"},
    {"distal-crest", "X,Y", OPT_DISTAL_CREST, NULL, "the same of the distal neighbour"},
    {"mark", "NAME=X,Y", OPT_MARK, NULL, "any mark by hand, px, e.g. mesial.cej=345,371"},
    {"bound", "WORDS=X,Y,X,Y...", OPT_BOUND, NULL,
     "a line to stay clear of, e.g. 'canal roof=...'"},
    {"plan", "LxD", OPT_PLAN, NULL, "planned cylinder, mm, e.g. 10x4.1"},
    {"plan-on", "pin|bisector", OPT_PLAN_ON, "measure record",
     "the planned cylinder on that axis; the sheet\n"
     "stays as it is"},
    {"plan-on", "pin|bisector", OPT_PLAN_ON, NULL, "the axis the planned cylinder stands on"},
    {"seen", "NAME=WORDS", OPT_SEEN, NULL,
     "at the site: roots, facial_plate, infection,\n"
     "primary_hold, soft_tissue"},
    {"taken", "DATE", OPT_TAKEN, NULL, "of the film, as 2026-03-02"},
    {"stage", "WORDS", OPT_STAGE, NULL, "of the film, for the record"},
    {"extracted", "DATE", OPT_EXTRACTED, NULL, "of the site's tooth"},
    {"grafted", "DATE", OPT_GRAFTED, NULL, "of the site: when the next film is due"},
    {"age", "YEARS", OPT_AGE, NULL, "for the loss of bone by year of age"},
    {"out", "SHEET", OPT_OUT, NULL,
     "where to (default FILM.sheet.json; - is standard\n"
     "output)"},
    {"replace", NULL, OPT_REPLACE, NULL,
     "begin anew where a sheet is (kept as SHEET.old,\n"
     ".old2 ...)"},
    {"missing", NULL, OPT_MISSING, NULL, "which marks each absent quantity lacks"},
    {"budget", NULL, OPT_BUDGET, NULL,
     "which mark contributes how much to each\n"
     "uncertainty"},
    {"worksheet", NULL, OPT_WORKSHEET, NULL, "one page: findings beside what only the eye sees"},
    {"record", NULL, OPT_RECORD, NULL, "also file each sheet's record"},
    {"plot", "FILE.png", OPT_PLOT, NULL, "the values over time, with 95 % bars"},
    {"into", "DIR", OPT_INTO, "series", "plot, text and data as a record of the series"},
    {"into", "DIR", OPT_INTO, NULL, "folder of the record (default: this one)"},
    {"no-legend", NULL, OPT_NO_LEGEND, NULL, "the record's picture without the margin"},
    {"same-pin", NULL, OPT_SAME_PIN, NULL,
     "the pin stands unmoved on all films, as an\n"
     "implant does"},
    {"view", NULL, OPT_VIEW, NULL, "also open each sheet in the window"},
    {"once", NULL, OPT_ONCE, NULL, "take the films that are there, and end"},
    {"limits", "FILE", OPT_LIMITS, NULL, "limits and uncertainties of your own"},
    {"beam-error", "DEG", OPT_BEAM_ERROR, NULL,
     "widen the angles by a horizontal beam error that\n"
     "you state"},
    {"film-changed", NULL, OPT_FILM_CHANGED, "carry",
     "accept an old film that is not the one marked"},
    {"film-changed", NULL, OPT_FILM_CHANGED, NULL, "accept a film that is not the one marked"},
    {"json", NULL, OPT_JSON, "start carry", "the sheet on standard output, no file"},
    {"json", NULL, OPT_JSON, "watch", "tell of each sheet and record in a line of JSON"},
    {"json", NULL, OPT_JSON, NULL, "JSON on standard output, one document a line"},
    {"csv", NULL, OPT_CSV, "series", "a table for a spreadsheet, one line a change"},
    {"csv", NULL, OPT_CSV, NULL, "a table for a spreadsheet, one line a quantity"},
    {"jobs", "N", OPT_JOBS, NULL, "workers for several inputs (default: one a core)"},
    {"max-pixels", "N", OPT_MAX_PIXELS, NULL, "refuse larger films"},
    {"page", "N", OPT_PAGE, NULL, "page of a TIFF"},
};
enum { OPTIONS = sizeof options / sizeof options[0] };

static int refuse(const char *option, const char *value, const char *wanted)
{
    fprintf(stderr, "plumbrule: --%s %s: %s\n", option, value, wanted);
    return -1;
}

/* A plain decimal number with nothing after it. */
static bool number(const char *text, double lo, double hi, double *out)
{
    char *end;
    errno = 0;
    double v = strtod(text, &end);
    if (end == text || *end != '\0' || errno != 0 || !isfinite(v) || v < lo || v > hi)
        return false;
    *out = v;
    return true;
}

static int read_numbers(const char *option, const char *text, double *out, size_t n)
{
    const double coordinate_max = 1e6;
    char copy[160];
    if (!plumb_text_copy(copy, sizeof copy, text))
        return refuse(option, text, "too long");
    char *rest = copy;
    for (size_t i = 0; i < n; i++) {
        char *comma = strchr(rest, ',');
        if ((comma != NULL) != (i + 1 < n))
            return refuse(option, text,
                          n == 2 ? "give X,Y in px" : "give X,Y,X,Y in px: crown end, then apex");
        if (comma != NULL)
            *comma = '\0';
        if (!number(rest, -coordinate_max, coordinate_max, &out[i]))
            return refuse(option, text, "not a number: give px");
        rest = comma ? comma + 1 : rest;
    }
    return 0;
}

/* KIND=MM or KIND=MM:U */
static int read_gauge(const char *text, struct cli_options *o)
{
    static const char wanted[] = "give length=MM or across=MM, with :U for its uncertainty, "
                                 "e.g. length=12.0:0.05";
    const double mm_max = 500.0;
    char copy[80];
    if (o->n_gauges >= SHEET_GAUGES || !plumb_text_copy(copy, sizeof copy, text))
        return refuse("gauge", text, "too many or too long");
    struct exam_gauge *g = &o->gauge[o->n_gauges];
    char *size = strchr(copy, '='), *u = strchr(copy, ':');
    if (size == NULL)
        return refuse("gauge", text, wanted);
    *size++ = '\0';
    if (u != NULL)
        *u++ = '\0';
    if (strcmp(copy, "length") == 0)
        g->kind = GAUGE_LENGTH;
    else if (strcmp(copy, "across") == 0)
        g->kind = GAUGE_ACROSS;
    else
        return refuse("gauge", text, wanted);
    g->u_mm = 0.0;
    if (!number(size, 0.01, mm_max, &g->mm) || (u != NULL && !number(u, 0.0, g->mm, &g->u_mm)))
        return refuse("gauge", text, wanted);
    o->n_gauges++;
    return 0;
}

/* LENGTHxDIAMETER */
static int read_plan(const char *text, struct cli_options *o)
{
    static const char wanted[] = "give LENGTHxDIAMETER in mm, e.g. 10x4.1";
    char copy[40];
    char *x = plumb_text_copy(copy, sizeof copy, text) ? strchr(copy, 'x') : NULL;
    if (x == NULL)
        return refuse("plan", text, wanted);
    *x++ = '\0';
    o->plan.set =
        number(copy, 1.0, 60.0, &o->plan.length_mm) && number(x, 0.5, 20.0, &o->plan.diameter_mm);
    return o->plan.set ? 0 : refuse("plan", text, wanted);
}

static int read_date(const char *option, const char *v, const char **out)
{
    *out = v;
    return plumb_date_valid(v) ? 0 : refuse(option, v, "not a date: give YYYY-MM-DD");
}

static int read_several(const char *option, const char *v, const char **list, size_t *n, size_t max)
{
    if (*n >= max)
        return refuse(option, v, "too many of them");
    list[(*n)++] = v;
    return 0;
}

/* What is stated of the site in a new sheet. */
static int read_site_option(int opt, const char *v, struct cli_options *o)
{
    switch (opt) {
    case OPT_PLAN:
        return read_plan(v, o);
    case OPT_PLAN_ON:
        o->plan.on = strcmp(v, "bisector") == 0 ? PLAN_ON_BISECTOR : PLAN_ON_PIN;
        o->exam.has_plan_on = true;
        o->exam.plan_on = o->plan.on;
        return strcmp(v, "bisector") == 0 || strcmp(v, "pin") == 0
                   ? 0
                   : refuse("plan-on", v, "give pin or bisector");
    case OPT_TAKEN:
        return read_date("taken", v, &o->taken);
    case OPT_EXTRACTED:
        return read_date("extracted", v, &o->extracted);
    case OPT_GRAFTED:
        return read_date("grafted", v, &o->grafted);
    case OPT_AGE:
        return number(v, 1.0, 130.0, &o->age_years) ? 0 : refuse("age", v, "give years, 1 to 130");
    case OPT_MARK:
        return read_several("mark", v, o->mark, &o->n_marks, CLI_MARKS);
    case OPT_SEEN:
        return read_several("seen", v, o->seen, &o->n_seen, CLI_SEEN);
    default:
        return read_several("bound", v, o->bound, &o->n_bounds, SHEET_BOUNDS);
    }
}

static int read_plot(const char *v, struct cli_options *o)
{
    static const char ending[] = ".png";
    size_t n = strlen(v), end = sizeof ending - 1;
    o->plot = v;
    return n > end && strcasecmp(v + n - end, ending) == 0
               ? 0
               : refuse("plot", v, "a plot is a PNG: give a name that ends in .png");
}

static int read_text_option(int opt, const char *v, struct cli_options *o)
{
    switch (opt) {
    case OPT_INTO:
        o->into = v;
        return 0;
    case OPT_OUT:
        o->out = v;
        return 0;
    case OPT_PLOT:
        return read_plot(v, o);
    case OPT_TOOTH:
        o->tooth = v;
        return 0;
    case OPT_STAGE:
        o->stage = v;
        return strlen(v) < SHEET_NAME && plumb_text_is_utf8(v, strlen(v))
                   ? 0
                   : refuse("stage", v, "too long or not UTF-8");
    case OPT_LIMITS:
        o->exam.limits_path = v;
        return 0;
    case OPT_NOTATION:
        o->notation = strcmp(v, "universal") == 0 ? NOTATION_UNIVERSAL : NOTATION_FDI;
        return strcmp(v, "universal") == 0 || strcmp(v, "fdi") == 0
                   ? 0
                   : refuse("notation", v, "give fdi or universal");
    case OPT_SEEN_FROM:
        o->seen_from = strcmp(v, "lingual") == 0 ? SEEN_FROM_LINGUAL : SEEN_FROM_FACIAL;
        return strcmp(v, "lingual") == 0 || strcmp(v, "facial") == 0
                   ? 0
                   : refuse("seen-from", v, "give facial or lingual");
    default:
        return -1;
    }
}

static int read_number_option(int opt, const char *v, struct cli_options *o)
{
    double x;
    switch (opt) {
    case OPT_JOBS:
        if (!number(v, 1, 256, &x))
            return refuse("jobs", v, "give a number of workers from 1 to 256");
        o->jobs = (int)x;
        return 0;
    case OPT_BEAM_ERROR:
        if (!number(v, 0, 45, &x))
            return refuse("beam-error", v, "give degrees from 0 to 45");
        o->exam.beam_error_deg = x;
        return 0;
    case OPT_SENSOR:
        if (!number(v, 5, 100, &x))
            return refuse("sensor", v, "give the active length of the longer side, 5 to 100 mm");
        o->sensor_mm = x;
        return 0;
    case OPT_MAX_PIXELS:
        if (!number(v, 1, 4e9, &x))
            return refuse("max-pixels", v, "give a number of pixels up to 4000000000");
        o->exam.film.max_pixels = (uint64_t)x;
        return 0;
    case OPT_PAGE:
        if (!number(v, 1, 65535, &x))
            return refuse("page", v, "give a page number from 1");
        o->exam.film.page = (unsigned)x;
        return 0;
    default:
        return -1;
    }
}

static int read_place_option(int opt, const char *v, struct cli_options *o)
{
    if (opt == OPT_PIN) {
        o->has_pin = true;
        return read_numbers("pin", v, o->pin, 2);
    }
    int side = opt == OPT_DISTAL_ROOT || opt == OPT_DISTAL_CREST ? DISTAL : MESIAL;
    if (opt == OPT_MESIAL_ROOT || opt == OPT_DISTAL_ROOT) {
        int k = o->n_roots[side] < ROOTS ? o->n_roots[side]++ : ROOTS - 1; /* the last one holds */
        return read_numbers(side == MESIAL ? "mesial-root" : "distal-root", v, o->root[side][k], 4);
    }
    o->has_crest[side] = true;
    return read_numbers(side == MESIAL ? "mesial-crest" : "distal-crest", v, o->crest[side], 2);
}

/* What an option without a value sets; NULL: not such an option. */
static bool *flag_of(int opt, struct cli_options *o)
{
    switch (opt) {
    case OPT_JSON:
        return &o->json;
    case OPT_CSV:
        return &o->csv;
    case OPT_MISSING:
        return &o->missing;
    case OPT_BUDGET:
        return &o->budget;
    case OPT_WORKSHEET:
        return &o->worksheet;
    case OPT_REPLACE:
        return &o->force;
    case OPT_RECORD:
        return &o->record;
    case OPT_VIEW:
        return &o->view;
    case OPT_ONCE:
        return &o->once;
    case OPT_SAME_PIN:
        return &o->same_pin;
    case OPT_FILM_CHANGED:
        return &o->exam.film_changed;
    default:
        return NULL;
    }
}

static int read_option(int opt, const char *v, struct cli_options *o)
{
    bool *flag = flag_of(opt, o);
    if (flag != NULL) {
        *flag = true;
        return 0;
    }
    switch (opt) {
    case OPT_NO_LEGEND:
        o->legend = false;
        return 0;
    case OPT_GAUGE:
        return read_gauge(v, o);
    case OPT_PIN:
    case OPT_MESIAL_ROOT:
    case OPT_DISTAL_ROOT:
    case OPT_MESIAL_CREST:
    case OPT_DISTAL_CREST:
        return read_place_option(opt, v, o);
    case OPT_PLAN:
    case OPT_PLAN_ON:
    case OPT_TAKEN:
    case OPT_EXTRACTED:
    case OPT_GRAFTED:
    case OPT_AGE:
    case OPT_MARK:
    case OPT_SEEN:
    case OPT_BOUND:
        return read_site_option(opt, v, o);
    case OPT_JOBS:
    case OPT_BEAM_ERROR:
    case OPT_SENSOR:
    case OPT_MAX_PIXELS:
    case OPT_PAGE:
        return read_number_option(opt, v, o);
    default:
        return read_text_option(opt, v, o);
    }
}

const struct cli_option *cli_option_table(size_t *n)
{
    *n = OPTIONS;
    return options;
}

/* The same as getopt wants it; a name that stands twice is one to it. */
static void table_for_getopt(struct option out[OPTIONS + 1])
{
    for (int i = 0; i < OPTIONS; i++)
        out[i] =
            (struct option){.name = options[i].name,
                            .has_arg = options[i].value != NULL ? required_argument : no_argument,
                            .val = options[i].id};
    out[OPTIONS] = (struct option){0};
}

bool cli_is_allowed(const char *name, const char *const *allowed)
{
    for (; *allowed != NULL; allowed++)
        if (strcmp(*allowed, name) == 0)
            return true;
    return false;
}

static void options_default(struct cli_options *o)
{
    *o = (struct cli_options){.legend = true};
    plumb_exam_options_default(&o->exam);
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    o->jobs = cores < 1 ? 1 : cores > 256 ? 256 : (int)cores;
}

int cli_options_read(int argc, char **argv, const char *const *allowed, struct cli_options *o)
{
    struct option table[OPTIONS + 1];
    options_default(o);
    table_for_getopt(table);
    opterr = 0;
    optind = 1;
    for (;;) {
        int index = -1;
        int opt = getopt_long(argc, argv, ":", table, &index);
        if (opt == -1)
            break;
        if (opt == '?' || opt == ':') {
            fprintf(stderr, "plumbrule: %s: %s: see plumbrule %s --help\n", argv[optind - 1],
                    opt == ':' ? "needs a value" : "no such option", argv[0]);
            return -1;
        }
        if (index < 0 || !cli_is_allowed(options[index].name, allowed)) {
            fprintf(stderr, "plumbrule: --%s: not an option of %s: see plumbrule %s --help\n",
                    index < 0 ? "" : options[index].name, argv[0], argv[0]);
            return -1;
        }
        if (read_option(opt, optarg, o) != 0)
            return -1;
    }
    o->n_inputs = (size_t)(argc - optind);
    return optind;
}
