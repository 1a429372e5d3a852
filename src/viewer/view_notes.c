/*
 * What to take note of: the warnings of the measuring and the notes of reading and checking, which
 * the report lists too. The first stands in the column above the values, all of them on a page.
 */
#include "viewer/view_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double line_heights = 1.45; /* of a letter's size */
static const size_t short_lines = 4;     /* most in the column */
static const double letter_width = 0.62; /* of its size, of a wide one: the room is never short */
static const double page_px = 720.0;     /* width of a page that is still read with ease */

static bool said_before(const struct sheet_notes *const all[], size_t list, size_t line)
{
    for (size_t i = 0; i <= list; i++)
        for (size_t j = 0; j < (i == list ? line : all[i]->n); j++)
            if (strcmp(all[i]->line[j], all[list]->line[line]) == 0)
                return true;
    return false;
}

const char *view_note(const struct view_state *v, size_t k)
{
    const struct sheet_notes *const all[] = {&v->exam.result.warnings, &v->odd, &v->exam.notes};
    if (!v->has_film)
        return NULL;
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        for (size_t j = 0; j < all[i]->n; j++)
            if (!said_before(all, i, j) && k-- == 0)
                return all[i]->line[j];
    return NULL;
}

static size_t count(const struct view_state *v)
{
    size_t n = 0;
    while (view_note(v, n) != NULL)
        n++;
    return n;
}

static size_t lines_of(const char *words, double width, double size)
{
    size_t letters = (size_t)fmax(width / (letter_width * size), 1.0);
    return strlen(words) / letters + 1;
}

static void wrapped(struct view_scene *s, struct view_box b, const char *words, double size)
{
    scene_text(s, b, words, size, VIEW_WARN, ALIGN_LEFT, false);
    if (!s->failed)
        s->item[s->n - 1].wrap = true;
}

struct view_box scene_note(struct view_scene *s, const struct view_state *v, struct view_box b)
{
    const struct view_layout *l = &v->layout;
    const char *first = view_note(v, 0);
    size_t n = count(v);
    char words[320];
    if (first == NULL)
        return b;
    if (n > 1)
        snprintf(words, sizeof words, "take note (%zu, w lists all): %s", n, first);
    else
        snprintf(words, sizeof words, "take note (w): %s", first);
    struct view_box at = {b.x0 + l->pad, b.y0 + 0.3 * l->step_row, b.x1 - l->pad, 0.0};
    size_t lines = lines_of(words, at.x1 - at.x0, l->small);
    lines = lines < short_lines ? lines : short_lines;
    at.y1 = at.y0 + ceil((double)lines * line_heights * l->small);
    if (at.y1 > b.y1)
        return b;
    wrapped(s, at, words, l->small);
    b.y0 = at.y1;
    return b;
}

/* As many as there is room for, each as high as its length needs. */
void scene_notes_page(struct view_scene *s, const struct view_state *v)
{
    const struct view_layout *l = &v->layout;
    struct view_box all = {0.0, 0.0, l->w, l->foot.y0};
    double width = fmin(all.x1 - 4.0 * l->pad, page_px * l->ui), row = line_heights * l->text;
    double x = round(0.5 * (all.x1 - width)), y = 2.0 * l->pad;
    scene_fill(s, all, VIEW_GROUND);
    struct view_box b = {x, y, x + width, y + 1.5 * row};
    const char *words = view_note(v, 0);
    scene_text(s, b, words ? "Take note" : "Nothing to take note of", l->text, VIEW_NOTICE,
               ALIGN_LEFT, true);
    for (size_t k = 0; words != NULL; words = view_note(v, ++k)) {
        b.y0 = b.y1 + 0.4 * row;
        b.y1 = b.y0 + ceil((double)lines_of(words, width, l->text) * row);
        if (b.y1 > all.y1)
            break;
        wrapped(s, b, words, l->text);
    }
}
