/* The command series: all its inputs are one. */
#include "cli/cli_internal.h"

#include <stdio.h>

static int write_plot(const struct exam_series *s, const char *path, struct err *err)
{
    struct file_out f;
    int rc = plumb_file_out_open(&f, path, false, err);
    if (rc != 0)
        return rc;
    rc = plumb_rec_series_plot(s, &f, err);
    if (rc != 0) {
        plumb_file_out_abort(&f);
        return rc;
    }
    return plumb_file_out_commit(&f, err);
}

static int write_record(const struct cli_options *o, const struct exam_series *s, struct buf *out,
                        struct err *err)
{
    struct rec_paths paths;
    int rc = plumb_rec_series_write(s, o->into, &paths, err);
    if (rc != 0)
        return rc;
    rc = cli_tell_paths(o, &paths, out, err);
    plumb_rec_paths_release(&paths);
    return rc;
}

static int render(const struct cli_options *o, const struct exam_series *s, struct buf *out,
                  struct err *err)
{
    if (o->into != NULL)
        return write_record(o, s, out, err);
    if (o->json)
        return plumb_rec_series_json(s, false, out, err);
    if (o->csv)
        return plumb_rec_series_csv(s, out, err);
    return plumb_rec_series_text(s, out, err);
}

/* Each sheet's own notes with its name, as measure tells them. */
static void tell_notes(const struct exam_series *s)
{
    for (size_t i = 0; i < s->n; i++) {
        const struct exam *e = &s->exam[i];
        const struct sheet_notes *notes[] = {&e->result.warnings, &e->notes};
        for (int k = 0; k < 2; k++)
            for (size_t j = 0; j < notes[k]->n; j++)
                fprintf(stderr, "plumbrule: %s: %s\n", e->sheet_path ? e->sheet_path : "-",
                        notes[k]->line[j]);
    }
    for (size_t i = 0; i < s->result.warnings.n; i++)
        fprintf(stderr, "plumbrule: series: %s\n", s->result.warnings.line[i]);
}

int cli_series(const struct cli_options *o, char **path, size_t n, struct buf *out, struct err *err)
{
    struct exam_series s;
    int rc = plumb_exam_series_open((const char *const *)path, n, &o->exam, o->same_pin,
                                    (size_t)o->jobs, &s, err);
    if (rc != 0)
        return rc;
    rc = render(o, &s, out, err);
    if (rc == 0 && o->plot != NULL) {
        rc = write_plot(&s, o->plot, err);
        if (rc != 0)
            plumb_err_prefix(err, "plot %.100s", o->plot);
    }
    tell_notes(&s);
    plumb_exam_series_release(&s);
    return rc;
}
