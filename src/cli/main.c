/* Choosing the command; help; leaving with the right code. */
#include "cli/cli.h"
#include "cli/cli_internal.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sysexits.h>

static const char help_text[] =
    "plumbrule - does the pin stand true? Measures a periapical film.\n"
    "\n"
    "  plumbrule pin FILM...        find the pin; print tip, shoulder, axis, widths\n"
    "  plumbrule start FILM         write a new sheet with what could be found\n"
    "  plumbrule carry SHEET FILM   the same for a new film, with the marks of an old sheet\n"
    "  plumbrule measure SHEET...   print quantities, uncertainties and findings\n"
    "  plumbrule record SHEET...    write picture, text and data for the chart\n"
    "  plumbrule series SHEET...    change over time of one site\n"
    "  plumbrule watch DIR          start a sheet for each film that is exported there\n"
    "  plumbrule limits             list limits and default uncertainties with sources\n";
static const char help_view[] =
    "  plumbrule view [FILM|SHEET]  place and check marks in a window\n";
static const char help_rest[] =
    "\n"
    "start\n"
    "  --tooth 35                   the site (FDI; --notation universal for 1-32, A-T)\n"
    "  --seen-from facial|lingual   side the film is looked at from\n"
    "  --gauge length=12.0[:U]      known size along the pin, mm, U its uncertainty\n"
    "  --gauge across=2.2[:U]       known diameter, mm\n"
    "  --sensor MM                  active length of the sensor's longer side (last resort)\n"
    "  --mesial-root X,Y,X,Y        two rough points, crown end and apex, px (--distal-root);\n"
    "                               twice for two roots, the one that faces the site first\n"
    "  --mesial-crest X,Y           one rough point near the crest, px (--distal-crest)\n"
    "  --pin X,Y                    of several pins the one near this point, px\n"
    "  --mark NAME=X,Y              any mark placed by hand, e.g. mesial.cej=345,371\n"
    "  --bound WORDS=X,Y,X,Y...     a line to stay clear of, e.g. 'canal roof=...'\n"
    "  --plan LxD                   planned cylinder, mm, e.g. 10x4.1 (--plan-on pin|bisector)\n"
    "  --seen NAME=WORDS            at the site: roots, facial_plate, infection, primary_hold,\n"
    "                               soft_tissue\n"
    "  --taken DATE --stage WORDS   of the film, for the record\n"
    "  --extracted DATE --grafted DATE --age YEARS   of the site; for dates and loss by age\n"
    "  --out SHEET                  where to (default FILM.sheet.json; - is standard output)\n"
    "  --replace                    begin anew where a sheet is (kept as SHEET.old, .old2 ...)\n"
    "carry (and start's options but tooth, notation and side)\n"
    "  --film-changed               accept an old film that is not the one that was marked\n"
    "measure\n"
    "  --json | --csv               one document a sheet | one line a quantity\n"
    "  --missing                    which marks each absent quantity lacks\n"
    "  --budget                     which mark contributes how much to each uncertainty\n"
    "  --worksheet                  one page: findings beside what only the eye sees\n"
    "record\n"
    "  --into DIR                   folder of the record (default: this one)\n"
    "  --no-legend                  picture without the margin\n"
    "series\n"
    "  --json | --csv               one document | one line a change\n"
    "  --plot FILE.png              the values over time, with 95 % bars\n"
    "  --into DIR                   plot, text and data as a record of the series\n"
    "  --same-pin                   the pin stands unmoved on all films (an implant)\n"
    "watch (takes the options of start, too)\n"
    "  --record                     also file each sheet's record (--into, --no-legend)\n"
    "  --view                       also open each sheet in the window\n"
    "  --once                       the films that are there, and end\n"
    "measure, record, series, watch\n"
    "  --limits FILE                limits and uncertainties of your own (limits too)\n"
    "  --beam-error DEG             widen the angles by a horizontal beam error you state\n"
    "  --plan-on pin|bisector       the planned cylinder on the other axis (not series)\n"
    "  --film-changed               accept a film that is not the one marked (not watch)\n"
    "all (watch: the last two)\n"
    "  --json  --jobs N  --max-pixels N  --page N (of a TIFF)\n"
    "\n"
    "SHEET may be - for standard input. Data go to standard output, all else to\n"
    "standard error. Exit codes: 0 done, 64 usage, 65 bad data, 66 no such input,\n"
    "70 a defect of ours, 71 the system, 73 cannot create, 74 input or output.\n"
    "\n"
    "A measuring aid and no diagnosis: a film does not show the facial plate, and\n"
    "local rules and the judgement of the licensed clinician come first.\n";

#define COMMON "json", "jobs", "max-pixels", "page"
#define SHEETS "limits", "beam-error", "film-changed", "plan-on"
#define VISIT                                                                                      \
    "gauge", "pin", "sensor", "mesial-root", "distal-root", "mesial-crest", "distal-crest",        \
        "taken", "stage", "mark", "bound", "seen", "plan", "plan-on", "extracted", "grafted",      \
        "age"
#define START "tooth", "notation", "seen-from", VISIT

static int run_limits(const struct cli_options *o, char **path);
static int run_carry(const struct cli_options *o, char **path);
static int run_series(const struct cli_options *o, char **path);
static int run_watch(const struct cli_options *o, char **path);

enum inputs { NONE, ONE, SEVERAL };
static const struct command {
    const char *name;
    cli_job job;                                          /* for each input, or */
    int (*all)(const struct cli_options *o, char **path); /* for all that there are */
    enum inputs inputs;
    const char *allowed[40];
} commands[] = {
    {"pin", cli_pin, NULL, SEVERAL, {COMMON, NULL}},
    {"start", cli_start, NULL, ONE, {COMMON, START, "out", "replace", NULL}},
    {"carry", NULL, run_carry, SEVERAL, {COMMON, VISIT, "film-changed", "out", "replace", NULL}},
    {"measure",
     cli_measure,
     NULL,
     SEVERAL,
     {COMMON, SHEETS, "csv", "missing", "budget", "worksheet", NULL}},
    {"record", cli_record, NULL, SEVERAL, {COMMON, SHEETS, "into", "no-legend", NULL}},
    {"series",
     NULL,
     run_series,
     SEVERAL,
     {COMMON, "limits", "beam-error", "film-changed", "csv", "plot", "into", "same-pin", NULL}},
    {"watch",
     NULL,
     run_watch,
     ONE,
     {START, "max-pixels", "page", "record", "into", "no-legend", "limits", "beam-error", "view",
      "once", NULL}},
    {"limits", NULL, run_limits, NONE, {"json", "limits", NULL}},
};

static int usage(const char *what, const char *name)
{
    fprintf(stderr, "plumbrule: %s: %s: see plumbrule --help\n", name, what);
    return EX_USAGE;
}

/* What came out, or the fault. */
static int put_out(int rc, struct buf *out, const struct err *err)
{
    if (rc == 0)
        fwrite(out->data, 1, out->len, stdout);
    else
        fprintf(stderr, "plumbrule: %s\n", err->text);
    plumb_buf_release(out);
    return cli_exit_code(rc);
}

static int run_limits(const struct cli_options *o, char **path)
{
    (void)path;
    struct buf out = {0};
    struct err err;
    int rc = cli_limits(o, &out, &err);
    return put_out(rc, &out, &err);
}

static int run_carry(const struct cli_options *o, char **path)
{
    struct cli_options with_old = *o;
    if (o->n_inputs != 2)
        return usage("takes an old sheet and a new film", "carry");
    with_old.from = path[0];
    return cli_batch(&with_old, path + 1, 1, cli_carry);
}

static int run_series(const struct cli_options *o, char **path)
{
    struct buf out = {0};
    struct err err;
    int rc = cli_series(o, path, o->n_inputs, &out, &err);
    return put_out(rc, &out, &err);
}

static int run_watch(const struct cli_options *o, char **path)
{
    if (!o->record && (o->into != NULL || !o->legend))
        return usage("--into and --no-legend go with --record", "watch");
    return cli_watch(o, path[0]);
}

static int run(const struct command *c, int argc, char **argv, char *program, int with_view)
{
    struct cli_options o;
    int first = cli_options_read(argc, argv, c->allowed, &o);
    if (first < 0)
        return EX_USAGE;
    if (o.json + o.csv + o.missing + o.budget + o.worksheet > 1)
        return usage("--json, --csv, --missing, --budget, --worksheet exclude each other", c->name);
    if (c->inputs == NONE && o.n_inputs > 0)
        return usage("takes no file", c->name);
    if (c->inputs != NONE && o.n_inputs == 0)
        return usage("which file or folder?", c->name);
    if (c->inputs == ONE && o.n_inputs > 1)
        return usage("takes one at a time", c->name);
    if (o.view && !with_view)
        return usage("--view: this build has no window", c->name);
    o.program = program;
    if (c->all != NULL)
        return c->all(&o, argv + first);
    if (o.csv)
        fputs("film,taken,stage,id,value,U95,low,high,unit,finding,limit\r\n", stdout);
    return cli_batch(&o, argv + first, o.n_inputs, c->job);
}

static bool asks(const char *arg, const char *word)
{
    return strcmp(arg, word) == 0 || (strncmp(arg, "--", 2) == 0 && strcmp(arg + 2, word) == 0);
}

static int help(int with_view)
{
    printf("%s%s%s", help_text, with_view ? help_view : "", help_rest);
    return EX_OK;
}

int cli_main(int argc, char **argv, int with_view)
{
    if (argc < 2)
        return usage("which command?", "nothing to do");
    for (int i = 1; i < argc; i++)
        if (strcmp(argv[i], "--help") == 0)
            return help(with_view);
    if (asks(argv[1], "help"))
        return help(with_view);
    if (asks(argv[1], "version")) {
        puts("plumbrule " PLUMB_VERSION);
        return EX_OK;
    }
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++)
        if (strcmp(argv[1], commands[i].name) == 0)
            return run(&commands[i], argc - 1, argv + 1, argv[0], with_view);
    return usage("no such command", argv[1]);
}

int cli_finish(int code)
{
    bool bad = ferror(stdout) != 0;
    errno = 0;
    if (fclose(stdout) != 0)
        bad = true;
    if (!bad)
        return code;
    fprintf(stderr, "plumbrule: standard output: cannot be written: %s\n",
            errno ? strerror(errno) : "no space or no reader");
    return EX_IOERR;
}
