/* Choosing the command; leaving with the right code. */
#include "cli/cli.h"
#include "cli/cli_internal.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sysexits.h>

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

static const struct cli_command commands[] = {
    {"pin",
     "FILM...",
     "find the pin; print tip, shoulder, axis, widths",
     cli_pin,
     NULL,
     CLI_SEVERAL,
     {COMMON, NULL}},
    {"start",
     "FILM",
     "write a new sheet with what could be found",
     cli_start,
     NULL,
     CLI_ONE,
     {COMMON, START, "out", "replace", NULL}},
    {"carry",
     "SHEET FILM",
     "start a new film's sheet with an old one's marks",
     NULL,
     run_carry,
     CLI_SEVERAL,
     {COMMON, VISIT, "film-changed", "out", "replace", NULL}},
    {"measure",
     "SHEET...",
     "print quantities, uncertainties and findings",
     cli_measure,
     NULL,
     CLI_SEVERAL,
     {COMMON, SHEETS, "csv", "missing", "budget", "worksheet", NULL}},
    {"record",
     "SHEET...",
     "write picture, text and data for the chart",
     cli_record,
     NULL,
     CLI_SEVERAL,
     {COMMON, SHEETS, "into", "no-legend", NULL}},
    {"series",
     "SHEET...",
     "change over time of one site; films of one day\n"
     "stand in the order given",
     NULL,
     run_series,
     CLI_SEVERAL,
     {COMMON, "limits", "beam-error", "film-changed", "csv", "plot", "into", "same-pin", NULL}},
    {"watch",
     "DIR",
     "start a sheet for each film exported there",
     NULL,
     run_watch,
     CLI_ONE,
     {START, "json", "max-pixels", "page", "record", "into", "no-legend", "limits", "beam-error",
      "view", "once", NULL}},
    {"limits",
     "",
     "list limits, default uncertainties, sources",
     NULL,
     run_limits,
     CLI_NONE,
     {"json", "limits", NULL}},
};
enum { COMMANDS = sizeof commands / sizeof commands[0] };

static const struct cli_command *command_named(const char *name)
{
    for (size_t i = 0; i < COMMANDS; i++)
        if (strcmp(name, commands[i].name) == 0)
            return &commands[i];
    return NULL;
}

/* Of a fault in how a command was called: its help has the answer. */
static int usage(const char *what, const char *name)
{
    bool known = command_named(name) != NULL;
    fprintf(stderr, "plumbrule: %s: %s: see plumbrule %s%s--help\n", name, what, known ? name : "",
            known ? " " : "");
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
    struct cli_options watching = *o;
    watching.watches = true;
    return cli_watch(&watching, path[0]);
}

static int run(const struct cli_command *c, int argc, char **argv, char *program, int with_view)
{
    struct cli_options o;
    int first = cli_options_read(argc, argv, c->allowed, &o);
    if (first < 0)
        return EX_USAGE;
    if (o.json + o.csv + o.missing + o.budget + o.worksheet > 1)
        return usage("--json, --csv, --missing, --budget, --worksheet exclude each other", c->name);
    if (c->inputs == CLI_NONE && o.n_inputs > 0)
        return usage("takes no file", c->name);
    if (c->inputs != CLI_NONE && o.n_inputs == 0)
        return usage("which file or folder?", c->name);
    if (c->inputs == CLI_ONE && o.n_inputs > 1)
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

/* Asked for anywhere before a `--`, it is all that is done. */
static bool asks_for_help(int argc, char **argv)
{
    for (int i = 1; i < argc && strcmp(argv[i], "--") != 0; i++)
        if (strcmp(argv[i], "--help") == 0)
            return true;
    return false;
}

int cli_main(int argc, char **argv, int with_view)
{
    if (argc < 2)
        return usage("which command?", "nothing to do");
    if (asks(argv[1], "help"))
        return cli_help(commands, COMMANDS, with_view);
    if (asks(argv[1], "version")) {
        puts("plumbrule " PLUMB_VERSION);
        return EX_OK;
    }
    const struct cli_command *c = command_named(argv[1]);
    if (c == NULL)
        return usage("no such command", argv[1]);
    if (asks_for_help(argc - 1, argv + 1))
        return cli_help_of(c);
    return run(c, argc - 1, argv + 1, argv[0], with_view);
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
