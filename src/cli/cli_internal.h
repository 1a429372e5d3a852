/* What the commands share: options, exit codes, running over several inputs. */
#ifndef PLUMB_CLI_INTERNAL_H
#define PLUMB_CLI_INTERNAL_H

#include "plumbrule/exam.h"
#include "plumbrule/record.h"

enum { CLI_MARKS = 64, CLI_SEEN = 8 };

enum { ROOTS = 2 };
struct cli_options {
    struct exam_options exam;
    bool json, csv, missing, budget, worksheet, legend, force, same_pin, record, view, once;
    bool watches; /* sheets are files, and --json tells of them */
    int jobs;
    const char *from; /* the old sheet of carry */
    const char *into, *out, *plot, *tooth, *stage, *taken, *extracted, *grafted;
    enum sheet_notation notation;
    enum sheet_view seen_from;
    double sensor_mm, age_years;
    struct sheet_plan plan;
    const char *mark[CLI_MARKS], *bound[SHEET_BOUNDS]; /* as they were written */
    const char *seen[CLI_SEEN];
    size_t n_marks, n_bounds, n_seen;
    struct exam_gauge gauge[SHEET_GAUGES];
    size_t n_gauges;
    bool has_crest[SIDES], has_pin;
    int n_roots[SIDES]; /* of a tooth: the one that faces the site, then its other one */
    double root[SIDES][ROOTS][4], crest[SIDES][2], pin[2];
    char *program;   /* as it was called */
    size_t n_inputs; /* files named on the command line */
};

/* One of sysexits.h for an error. */
int cli_exit_code(int err_code);

/* Reads options of one command into o; returns the index of the first file in argv (argv is
 * reordered), or -1 after having told the fault on standard error. allowed: names of its options,
 * NULL at the end. */
int cli_options_read(int argc, char **argv, const char *const *allowed, struct cli_options *o);

/* Puts what the options state into a new sheet. */
int cli_state(const struct cli_options *o, const struct film *film, struct sheet *s,
              struct sheet_notes *say, struct err *err);

/* An option as the parser and the help texts know it. */
struct cli_option {
    const char *name, *value; /* what stands behind it, NULL: nothing */
    int id;
    const char *of; /* the commands of which this is said, NULL: all the rest */
    const char *does;
};
const struct cli_option *cli_option_table(size_t *n);
/* Is the name in a list with NULL at its end? */
bool cli_is_allowed(const char *name, const char *const *allowed);

/* What a command does with one input: data into out, notes into say (lines without prefix). */
typedef int (*cli_job)(const struct cli_options *o, const char *path, struct buf *out,
                       struct sheet_notes *say, struct err *err);
/* Runs a job over all inputs on o->jobs threads; writes out in input order, notes and faults to
 * standard error; returns the worst exit code. */
int cli_batch(const struct cli_options *o, char **path, size_t n, cli_job job);

enum cli_inputs { CLI_NONE, CLI_ONE, CLI_SEVERAL };
struct cli_command {
    const char *name, *takes, *does;
    cli_job job;                                          /* for each input, or */
    int (*all)(const struct cli_options *o, char **path); /* for all that there are */
    enum cli_inputs inputs;
    const char *allowed[40]; /* options, NULL at the end */
};
/* All commands on a page, and one with its options. Return the exit code. */
int cli_help(const struct cli_command *commands, size_t n, int with_view);
int cli_help_of(const struct cli_command *c);

/* The commands. */
int cli_pin(const struct cli_options *o, const char *path, struct buf *out, struct sheet_notes *say,
            struct err *err);
int cli_start(const struct cli_options *o, const char *path, struct buf *out,
              struct sheet_notes *say, struct err *err);
int cli_carry(const struct cli_options *o, const char *path, struct buf *out,
              struct sheet_notes *say, struct err *err);
int cli_measure(const struct cli_options *o, const char *path, struct buf *out,
                struct sheet_notes *say, struct err *err);
int cli_record(const struct cli_options *o, const char *path, struct buf *out,
               struct sheet_notes *say, struct err *err);
/* All inputs are one. */
int cli_series(const struct cli_options *o, char **path, size_t n, struct buf *out,
               struct err *err);
/* Until SIGINT or SIGTERM, or with `once` what is there; returns the exit code. */
int cli_watch(const struct cli_options *o, const char *dir);
/* The sheet that start makes of a film; free it. */
char *cli_sheet_name(const char *film, struct err *err);
/* The names of the files of a record. */
int cli_tell_paths(const struct cli_options *o, const struct rec_paths *p, struct buf *out,
                   struct err *err);
int cli_limits(const struct cli_options *o, struct buf *out, struct err *err);

#endif
