/*
 * What is typed in the window: one question at a time in the foot line, each with its check. An
 * empty answer leaves a thing unstated.
 */
#include "viewer/view_internal.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Sizes of gauges and plans, mm: bounds against slips of the pen. */
static const double size_least_mm = 0.2, size_most_mm = 60.0;
static const double age_most = 130.0; /* years, as the sheet has it */

static const char *const words[QUESTIONS] = {
    [ASK_PATH] = "Film or sheet (path)",
    [ASK_TOOTH] = "Tooth of the site (FDI, e.g. 35; or U20 for Universal)",
    [ASK_LENGTH] = "Known length of the pin, tip to shoulder, mm (empty: none)",
    [ASK_ACROSS] = "Known diameter of the pin, mm (empty: none)",
    [ASK_SENSOR] = "Sensor, active length of its longer side, mm (empty: not known)",
    [ASK_SEEN_FROM] = "Film seen from: facial or lingual",
    [ASK_TAKEN] = "Film taken on (YYYY-MM-DD, empty: not stated)",
    [ASK_STAGE] = "Stage (e.g. first drill)",
    [ASK_EXTRACTED] = "Tooth taken out on (YYYY-MM-DD, empty: not stated)",
    [ASK_GRAFTED] = "Site grafted on (YYYY-MM-DD, empty: not stated)",
    [ASK_AGE] = "Age in years (empty: not stated)",
    [ASK_ROOTS] = "Roots of the site's tooth (number)",
    [ASK_PLATE] = "Facial plate, as seen",
    [ASK_INFECTION] = "Infection",
    [ASK_HOLD] = "Primary hold",
    [ASK_TISSUE] = "Soft tissue",
    [ASK_REMARKS] = "Remarks",
    [ASK_PLAN_LENGTH] = "Planned length, mm (empty: no plan)",
    [ASK_PLAN_WIDTH] = "Planned diameter, mm",
    [ASK_PLAN_ON] = "The plan stands on: pin or bisector",
    [ASK_BOUND] = "What lies here (e.g. canal roof)",
};

const char *view_ask_words(enum view_question q)
{
    return (unsigned)q < QUESTIONS && words[q] ? words[q] : "";
}

bool view_ask_number(enum view_question q)
{
    return q == ASK_LENGTH || q == ASK_ACROSS || q == ASK_SENSOR || q == ASK_AGE ||
           q == ASK_ROOTS || q == ASK_PLAN_LENGTH || q == ASK_PLAN_WIDTH;
}

static bool has_pin(const struct sheet *s)
{
    return view_step_progress(s, STEP_PIN) != TO_DO;
}

/* Without a pin the plan can stand on the bisector only; beside a gauge the sensor says nothing. */
bool view_ask_idle(enum view_question q, const struct sheet *s)
{
    return (q == ASK_PLAN_ON && !has_pin(s)) ||
           (q == ASK_SENSOR && s->n_gauges > 0 && s->film.sensor_mm <= 0.0);
}

/* --- present answers ----------------------------------------------------------------------------
 */

static const struct sheet_gauge *gauge_of(const struct sheet *s, enum gauge_kind kind)
{
    for (size_t i = 0; i < s->n_gauges; i++)
        if (s->gauge[i].kind == kind)
            return &s->gauge[i];
    return NULL;
}

static void print_size(double mm, double u_mm, char *out, size_t n)
{
    if (mm <= 0.0)
        out[0] = '\0';
    else if (u_mm > 0.0)
        snprintf(out, n, "%g ± %g", mm, u_mm);
    else
        snprintf(out, n, "%g", mm);
}

static void print_tooth(const struct sheet_site *site, char *out, size_t n)
{
    char tooth[8] = "";
    if (site->tooth != 0)
        plumb_tooth_print(site->tooth, site->notation, tooth);
    snprintf(out, n, "%s%s", site->tooth && site->notation == NOTATION_UNIVERSAL ? "U" : "", tooth);
}

static void print_count(int count, char *out, size_t n)
{
    if (count > 0)
        snprintf(out, n, "%d", count);
}

/* The text field behind a question; NULL when it is none. */
static char *text_of(struct sheet *s, enum view_question q, size_t *size)
{
    *size = SHEET_WORDS;
    switch (q) {
    case ASK_STAGE:
        *size = sizeof s->film.stage;
        return s->film.stage;
    case ASK_TAKEN:
        *size = sizeof s->film.taken;
        return s->film.taken;
    case ASK_EXTRACTED:
        *size = sizeof s->site.extracted;
        return s->site.extracted;
    case ASK_GRAFTED:
        *size = sizeof s->site.grafted;
        return s->site.grafted;
    case ASK_PLATE:
        return s->observed.facial_plate;
    case ASK_INFECTION:
        return s->observed.infection;
    case ASK_HOLD:
        return s->observed.primary_hold;
    case ASK_TISSUE:
        return s->observed.soft_tissue;
    case ASK_REMARKS:
        *size = sizeof s->remarks;
        return s->remarks;
    default:
        return NULL;
    }
}

static void present_answer(const struct sheet *s, enum view_question q, char *out, size_t n)
{
    const struct sheet_gauge *g = gauge_of(s, q == ASK_LENGTH ? GAUGE_LENGTH : GAUGE_ACROSS);
    size_t size;
    union {
        const struct sheet *in;
        struct sheet *out;
    } borrowed = {.in = s};
    const char *text = text_of(borrowed.out, q, &size);
    out[0] = '\0';
    if (text != NULL)
        plumb_text_copy(out, n, text);
    else if (q == ASK_TOOTH)
        print_tooth(&s->site, out, n);
    else if ((q == ASK_LENGTH || q == ASK_ACROSS) && g != NULL)
        print_size(g->mm, g->u_mm, out, n);
    else if (q == ASK_SENSOR)
        print_size(s->film.sensor_mm, 0.0, out, n);
    else if (q == ASK_SEEN_FROM)
        snprintf(out, n, "%s", s->site.seen_from == SEEN_FROM_LINGUAL ? "lingual" : "facial");
    else if (q == ASK_ROOTS)
        print_count(s->observed.roots, out, n);
    else if (q == ASK_AGE)
        print_size(s->site.age_years, 0.0, out, n);
    else if (q == ASK_PLAN_LENGTH && s->plan.set)
        print_size(s->plan.length_mm, 0.0, out, n);
    else if (q == ASK_PLAN_WIDTH && s->plan.set)
        print_size(s->plan.diameter_mm, 0.0, out, n);
    else if (q == ASK_PLAN_ON)
        snprintf(out, n, "%s", s->plan.on == PLAN_ON_PIN ? "pin" : "bisector");
    else if (q == ASK_BOUND)
        snprintf(out, n, "%s",
                 s->site.tooth != 0 && plumb_tooth_is_upper(s->site.tooth) ? "sinus floor"
                                                                           : "canal roof");
}

void view_ask_open(struct view_ask *a, enum view_question first, enum view_question last,
                   const struct sheet *s)
{
    *a = (struct view_ask){.what = first, .last = last};
    if (s != NULL)
        present_answer(s, first, a->text, sizeof a->text);
    a->caret = strlen(a->text);
    a->chosen = a->text[0] != '\0';
}

/* --- answers ------------------------------------------------------------------------------------
 */

/* Decimal comma or point, whole text; NAN for anything else. Locale-free: the C locale's LC_NUMERIC
 * is never changed. */
static double number_of(const char *text)
{
    char plain[32];
    if (strlen(text) >= sizeof plain || strspn(text, "0123456789.,+- eE") != strlen(text))
        return (double)NAN;
    plumb_text_copy(plain, sizeof plain, text);
    for (char *p = plain; *p; p++)
        if (*p == ',')
            *p = '.';
    char *end;
    double x = strtod(plain, &end);
    return end == plain || *end != '\0' ? (double)NAN : x;
}

static void trim(const char *text, char *out, size_t n)
{
    while (isspace((unsigned char)*text))
        text++;
    plumb_text_copy(out, n, text);
    size_t len = strlen(out);
    while (len > 0 && isspace((unsigned char)out[len - 1]))
        out[--len] = '\0';
}

/* "12 mm" is 12. */
static void drop_unit(char *text)
{
    size_t n = strlen(text);
    while (n > 0 && text[n - 1] == ' ')
        n--;
    if (n > 2 && memcmp(text + n - 2, "mm", 2) == 0)
        text[n - 2] = '\0';
}

static int read_size(const char *text, const char *what, double *mm, double *u_mm, struct err *err)
{
    char value[64], u[64] = "", whole[64];
    plumb_text_copy(whole, sizeof whole, text);
    char *sign = strstr(whole, "±");
    size_t skip = strlen("±");
    if (sign == NULL && (sign = strstr(whole, "+-")) != NULL)
        skip = 2;
    if (sign != NULL) {
        trim(sign + skip, u, sizeof u);
        *sign = '\0';
    }
    drop_unit(u);
    drop_unit(whole);
    trim(whole, value, sizeof value);
    *mm = number_of(value);
    *u_mm = u[0] ? number_of(u) : 0.0;
    if (!(*mm >= size_least_mm && *mm <= size_most_mm))
        return plumb_err_set(err, ERR_ARG, "%s is a number of mm from %g to %g, e.g. 12.0", what,
                             size_least_mm, size_most_mm);
    if (!(*u_mm >= 0.0 && *u_mm < 0.5 * *mm))
        return plumb_err_set(err, ERR_ARG, "after ± comes a small number of mm, e.g. 12.0 ± 0.05");
    return 0;
}

static void drop_gauge(struct sheet *s, enum gauge_kind kind)
{
    for (size_t i = 0; i < s->n_gauges; i++)
        if (s->gauge[i].kind == kind) {
            memmove(&s->gauge[i], &s->gauge[i + 1], (s->n_gauges - i - 1) * sizeof s->gauge[0]);
            s->gauge[--s->n_gauges] = (struct sheet_gauge){0};
            return;
        }
}

static int answer_gauge(const char *text, enum gauge_kind kind, struct sheet *s, struct err *err)
{
    double mm, u_mm;
    if (text[0] == '\0') {
        drop_gauge(s, kind);
        return 0;
    }
    int rc = read_size(text, kind == GAUGE_LENGTH ? "the length" : "the diameter", &mm, &u_mm, err);
    if (rc != 0)
        return rc;
    for (size_t i = 0; i < s->n_gauges; i++)
        if (s->gauge[i].kind == kind) {
            s->gauge[i].mm = mm;
            s->gauge[i].u_mm = u_mm;
            return 0;
        }
    if (s->n_gauges >= SHEET_GAUGES)
        return plumb_err_set(err, ERR_LIMIT, "more than %d gauges: leave some out", SHEET_GAUGES);
    struct sheet_gauge *g = &s->gauge[s->n_gauges++];
    *g = (struct sheet_gauge){.kind = kind, .mm = mm, .u_mm = u_mm};
    plumb_text_copy(g->name, sizeof g->name,
                    kind == GAUGE_LENGTH ? "drill, tip to shoulder" : "drill diameter");
    return 0;
}

static int answer_sensor(const char *text, struct sheet *s, struct err *err)
{
    double mm = 0.0, u_mm = 0.0;
    int rc = text[0] ? read_size(text, "the active length", &mm, &u_mm, err) : 0;
    if (rc == 0 && u_mm > 0.0)
        return plumb_err_set(err, ERR_ARG, "the sensor's length is one number of mm, e.g. 36");
    if (rc == 0)
        s->film.sensor_mm = mm;
    return rc;
}

static int answer_tooth(const char *text, struct sheet *s, struct err *err)
{
    int tooth = 0;
    bool universal = text[0] == 'U' || text[0] == 'u';
    if (text[0] == '\0')
        return plumb_err_set(err, ERR_ARG, "which tooth stood at the site: two digits, e.g. 35");
    enum sheet_notation n = universal ? NOTATION_UNIVERSAL : NOTATION_FDI;
    int rc = plumb_tooth_parse(text + (universal ? 1 : 0), n, &tooth, err);
    if (rc != 0)
        return rc;
    s->site.tooth = tooth;
    s->site.notation = n;
    return 0;
}

static int answer_view(const char *text, struct sheet *s, struct err *err)
{
    size_t n = strlen(text);
    if (n == 0 || strncmp(text, "facial", n) == 0)
        s->site.seen_from = SEEN_FROM_FACIAL;
    else if (strncmp(text, "lingual", n) == 0)
        s->site.seen_from = SEEN_FROM_LINGUAL;
    else
        return plumb_err_set(err, ERR_ARG, "type facial or lingual (f or l will do)");
    return 0;
}

static int answer_roots(const char *text, struct sheet *s, struct err *err)
{
    double x = text[0] ? number_of(text) : 0.0;
    if (!(x >= 0.0 && x <= 5.0 && x == floor(x)))
        return plumb_err_set(err, ERR_ARG, "the roots are counted: 1, 2 or 3");
    s->observed.roots = (int)x;
    return 0;
}

static int answer_age(const char *text, struct sheet *s, struct err *err)
{
    double x = text[0] ? number_of(text) : 0.0;
    if (!(x >= 0.0 && x <= age_most))
        return plumb_err_set(err, ERR_ARG, "the age is a number of years up to %g", age_most);
    s->site.age_years = x;
    return 0;
}

static int answer_plan(const char *text, bool length, struct sheet *s, struct err *err)
{
    double mm, u_mm;
    if (text[0] == '\0') {
        s->plan = (struct sheet_plan){0};
        return 0;
    }
    int rc = read_size(text, length ? "the length" : "the diameter", &mm, &u_mm, err);
    if (rc != 0)
        return rc;
    if (length)
        s->plan.length_mm = mm;
    else
        s->plan.diameter_mm = mm;
    s->plan.set = s->plan.length_mm > 0.0 && s->plan.diameter_mm > 0.0;
    if (!has_pin(s))
        s->plan.on = PLAN_ON_BISECTOR;
    return 0;
}

static int answer_plan_on(const char *text, struct sheet *s, struct err *err)
{
    size_t n = strlen(text);
    if (n > 0 && strncmp(text, "pin", n) == 0)
        s->plan.on = PLAN_ON_PIN;
    else if (n > 0 && strncmp(text, "bisector", n) == 0)
        s->plan.on = PLAN_ON_BISECTOR;
    else
        return plumb_err_set(err, ERR_ARG, "type pin or bisector (p or b will do)");
    return 0;
}

static int answer_bound(const char *text, struct sheet *s, struct err *err)
{
    if (text[0] == '\0')
        return plumb_err_set(err, ERR_ARG, "say in a word what the bound is");
    if (s->n_bounds >= SHEET_BOUNDS)
        return plumb_err_set(err, ERR_LIMIT, "more than %d bounds: leave some out", SHEET_BOUNDS);
    struct sheet_bound *b = &s->bound[s->n_bounds++];
    *b = (struct sheet_bound){0};
    plumb_text_copy(b->what, sizeof b->what, text);
    return 0;
}

static int answer_text(const char *text, enum view_question q, struct sheet *s, struct err *err)
{
    size_t size;
    char *to = text_of(s, q, &size);
    if (to == NULL)
        return plumb_err_set(err, ERR_ARG, "nothing was asked");
    bool date = q == ASK_TAKEN || q == ASK_EXTRACTED || q == ASK_GRAFTED;
    if (date && text[0] && !plumb_date_valid(text))
        return plumb_err_set(err, ERR_ARG, "a date is written YYYY-MM-DD, e.g. 2026-03-02");
    if (strlen(text) >= size)
        return plumb_err_set(err, ERR_LIMIT, "longer than %zu bytes: say it in fewer words",
                             size - 1);
    memcpy(to, text, strlen(text) + 1);
    return 0;
}

int view_ask_answer(const struct view_ask *a, struct sheet *s, struct err *err)
{
    char text[SHEET_TEXT];
    trim(a->text, text, sizeof text);
    switch (a->what) {
    case ASK_TOOTH:
        return answer_tooth(text, s, err);
    case ASK_LENGTH:
        return answer_gauge(text, GAUGE_LENGTH, s, err);
    case ASK_ACROSS:
        return answer_gauge(text, GAUGE_ACROSS, s, err);
    case ASK_SENSOR:
        return answer_sensor(text, s, err);
    case ASK_SEEN_FROM:
        return answer_view(text, s, err);
    case ASK_ROOTS:
        return answer_roots(text, s, err);
    case ASK_AGE:
        return answer_age(text, s, err);
    case ASK_PLAN_LENGTH:
        return answer_plan(text, true, s, err);
    case ASK_PLAN_WIDTH:
        return answer_plan(text, false, s, err);
    case ASK_PLAN_ON:
        return answer_plan_on(text, s, err);
    case ASK_BOUND:
        return answer_bound(text, s, err);
    default:
        return answer_text(text, a->what, s, err);
    }
}

/* --- editing the line ----------------------------------------------------------------------------
 */

static bool continues(char c)
{
    return ((unsigned char)c & 0xC0) == 0x80;
}

void view_ask_insert(struct view_ask *a, const char *utf8, size_t len)
{
    if (len == 0 || !plumb_text_is_utf8(utf8, len))
        return;
    if (a->chosen)
        view_ask_edit(a, EDIT_CLEAR);
    size_t have = strlen(a->text);
    for (size_t i = 0; i < len;) {
        size_t n = 1;
        while (i + n < len && continues(utf8[i + n]))
            n++;
        /* line breaks and other controls of a paste become spaces */
        const char *piece = (unsigned char)utf8[i] < 0x20 || utf8[i] == 0x7F ? " " : utf8 + i;
        if (have + n >= sizeof a->text)
            return;
        memmove(a->text + a->caret + n, a->text + a->caret, have - a->caret + 1);
        memcpy(a->text + a->caret, piece, n);
        a->caret += n;
        have += n;
        i += n;
    }
}

static size_t before(const struct view_ask *a)
{
    size_t i = a->caret;
    if (i > 0)
        i--;
    while (i > 0 && continues(a->text[i]))
        i--;
    return i;
}

static size_t after(const struct view_ask *a)
{
    size_t i = a->caret;
    if (a->text[i] != '\0')
        i++;
    while (continues(a->text[i]))
        i++;
    return i;
}

static void cut(struct view_ask *a, size_t from, size_t to)
{
    memmove(a->text + from, a->text + to, strlen(a->text + to) + 1);
    a->caret = from;
}

void view_ask_edit(struct view_ask *a, enum view_edit how)
{
    a->chosen = false;
    switch (how) {
    case EDIT_LEFT:
        a->caret = before(a);
        break;
    case EDIT_RIGHT:
        a->caret = after(a);
        break;
    case EDIT_HOME:
        a->caret = 0;
        break;
    case EDIT_END:
        a->caret = strlen(a->text);
        break;
    case EDIT_BACK:
        cut(a, before(a), a->caret);
        break;
    case EDIT_DELETE:
        cut(a, a->caret, after(a));
        break;
    case EDIT_CLEAR:
        cut(a, 0, strlen(a->text));
        break;
    }
}
