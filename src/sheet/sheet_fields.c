/*
 * The sheet's keys, each in one place: where it stands in the document, where in memory, what it
 * may hold. Reading, writing, the list of known keys and the walk over marks all go by these
 * tables; their order is the order of the written document.
 *
 * Limits of numbers are bounds against slips of the pen and hostile files, far outside anything a
 * film shows.
 */
#include "sheet/sheet_internal.h"

#include <math.h>
#include <string.h>

static const struct number_kind coordinate = {-1e6, 1e6, 3, false, "pixels, -1000000 to 1000000"};
static const struct number_kind deviation = {0.0, 1e4, 4, true, "pixels, 0 to 10000"};
static const struct number_kind size_mm = {0.0001, 500.0, 4, true,
                                           "millimetres, above 0 and at most 500"};
static const struct number_kind size_u_mm = {0.0, 500.0, 4, true, "millimetres, 0 to 500"};
static const struct number_kind film_px = {1.0, 1e6, 0, true, "whole pixels, 1 to 1000000"};
static const struct number_kind age = {0.0, 130.0, 1, true, "years, 0 to 130"};
static const struct number_kind root_count = {1.0, 9.0, 0, true, "a whole number, 1 to 9"};

static const char *const by_words[] = {"hand", "found", "moved", "carried", NULL};
static const char *const kind_words[] = {"length", "across", NULL};
static const char *const tip_words[] = {"", "flat", "round", "cone", NULL};
static const char *const notation_words[] = {"fdi", "universal", NULL};
static const char *const view_words[] = {"facial", "lingual", NULL};
static const char *const plan_words[] = {"pin", "bisector", NULL};

/* The enums' words stand in the order of their values, and all enums are read alike. */
_Static_assert(MARK_CARRIED == 3 && GAUGE_ACROSS == 1 && GAUGE_TIP_CONE == 3 &&
                   NOTATION_UNIVERSAL == 1 && SEEN_FROM_LINGUAL == 1 && PLAN_ON_BISECTOR == 1,
               "words follow the enums");
_Static_assert(sizeof(enum mark_by) == sizeof(unsigned), "enums are read as unsigned");

#define AT(type, member) .offset = offsetof(type, member)
#define TEXT_AT(type, member) AT(type, member), .size = sizeof(((type *)0)->member)
#define TABLE(fields) .field = (fields), .n = sizeof(fields) / sizeof((fields)[0])

static const struct field mark_fields[] = {
    {"x", FIELD_NUMBER, FIELD_REQUIRED, AT(struct mark, x), .number = &coordinate},
    {"y", FIELD_NUMBER, FIELD_REQUIRED, AT(struct mark, y), .number = &coordinate},
    {"sd", FIELD_NUMBER, 0, AT(struct mark, sd), .number = &deviation},
    {"by", FIELD_WORD, 0, AT(struct mark, by), .words = by_words},
    {"confirmed", FIELD_FLAG, 0, AT(struct mark, confirmed)},
};
const struct table sheet_mark_table = {TABLE(mark_fields), "a mark {\"x\": ..., \"y\": ...}", true,
                                       offsetof(struct mark, set), true};

static const struct field film_fields[] = {
    {"file", FIELD_TEXT, FIELD_REQUIRED, TEXT_AT(struct sheet_film, file)},
    {"sha256", FIELD_DIGEST, 0, TEXT_AT(struct sheet_film, sha256)},
    {"width", FIELD_PIXELS, 0, AT(struct sheet_film, width), .number = &film_px},
    {"height", FIELD_PIXELS, 0, AT(struct sheet_film, height), .number = &film_px},
    {"taken", FIELD_DATE, 0, TEXT_AT(struct sheet_film, taken)},
    {"stage", FIELD_TEXT, 0, TEXT_AT(struct sheet_film, stage)},
    {"sensor_mm", FIELD_NUMBER, 0, AT(struct sheet_film, sensor_mm), .number = &size_mm},
};
static const struct table film_table = {TABLE(film_fields), "{\"file\": ...}"};

static const struct field site_fields[] = {
    {"tooth", FIELD_TOOTH, 0, AT(struct sheet_site, tooth)},
    {"notation", FIELD_WORD, FIELD_SPOKEN, AT(struct sheet_site, notation),
     .words = notation_words},
    {"seen_from", FIELD_WORD, FIELD_SPOKEN, AT(struct sheet_site, seen_from), .words = view_words},
    {"extracted", FIELD_DATE, 0, TEXT_AT(struct sheet_site, extracted)},
    {"grafted", FIELD_DATE, 0, TEXT_AT(struct sheet_site, grafted)},
    {"age_years", FIELD_NUMBER, 0, AT(struct sheet_site, age_years), .number = &age},
};
static const struct table site_table = {TABLE(site_fields), "{\"tooth\": ...}"};

static const struct field gauge_fields[] = {
    {"name", FIELD_TEXT, 0, TEXT_AT(struct sheet_gauge, name)},
    {"kind", FIELD_WORD, FIELD_REQUIRED, AT(struct sheet_gauge, kind), .words = kind_words},
    {"mm", FIELD_NUMBER, FIELD_REQUIRED, AT(struct sheet_gauge, mm), .number = &size_mm},
    {"u_mm", FIELD_NUMBER, 0, AT(struct sheet_gauge, u_mm), .number = &size_u_mm},
    {"tip", FIELD_WORD, 0, AT(struct sheet_gauge, tip), .words = tip_words},
    {"ends", FIELD_PAIR, 0, AT(struct sheet_gauge, end), .kind = KIND_GAUGE_END},
};
static const struct table gauge_table = {TABLE(gauge_fields), "{\"kind\": ..., \"mm\": ...}"};

static const struct field pin_fields[] = {
    {"name", FIELD_TEXT, 0, TEXT_AT(struct sheet_pin, name)},
    {"tip", FIELD_MARK, 0, AT(struct sheet_pin, tip), .kind = KIND_PIN_TIP},
    {"shoulder", FIELD_MARK, 0, AT(struct sheet_pin, shoulder), .kind = KIND_PIN_SHOULDER},
    {"stop", FIELD_MARK, 0, AT(struct sheet_pin, stop), .kind = KIND_PIN_STOP},
    {"axis", FIELD_PAIR, 0, AT(struct sheet_pin, axis), .kind = KIND_PIN_AXIS},
    {"mesial_side", FIELD_PAIR, 0, AT(struct sheet_pin, side[MESIAL]), .kind = KIND_PIN_SIDE},
    {"distal_side", FIELD_PAIR, 0, AT(struct sheet_pin, side[DISTAL]), .kind = KIND_PIN_SIDE},
};
static const struct table pin_table = {TABLE(pin_fields), "{\"tip\": ..., \"axis\": ...}"};

static const struct field neighbour_fields[] = {
    {"tooth", FIELD_TOOTH, 0, AT(struct sheet_neighbour, tooth)},
    {"axis", FIELD_PAIR, 0, AT(struct sheet_neighbour, axis), .kind = KIND_ROOT_AXIS},
    {"cej", FIELD_MARK, 0, AT(struct sheet_neighbour, cej), .kind = KIND_CEJ},
    {"cej_far", FIELD_MARK, 0, AT(struct sheet_neighbour, cej_far), .kind = KIND_CEJ},
    {"apex", FIELD_MARK, 0, AT(struct sheet_neighbour, apex), .kind = KIND_APEX},
    {"crest", FIELD_MARK, 0, AT(struct sheet_neighbour, crest), .kind = KIND_CREST},
    {"near", FIELD_PATH, 0, AT(struct sheet_neighbour, near), .kind = KIND_ROOT_SIDE},
    {"far", FIELD_PATH, 0, AT(struct sheet_neighbour, far), .kind = KIND_ROOT_SIDE},
};
static const struct table neighbour_table = {TABLE(neighbour_fields), "{\"apex\": ...}"};

static const struct field site_tooth_fields[] = {
    {"axis", FIELD_PAIR, 0, AT(struct sheet_site_tooth, axis), .kind = KIND_ROOT_AXIS},
    {"top", FIELD_MARK, 0, AT(struct sheet_site_tooth, top), .kind = KIND_TOP},
    {"cej_mesial", FIELD_MARK, 0, AT(struct sheet_site_tooth, cej[MESIAL]), .kind = KIND_CEJ},
    {"cej_distal", FIELD_MARK, 0, AT(struct sheet_site_tooth, cej[DISTAL]), .kind = KIND_CEJ},
    {"apex", FIELD_MARK, 0, AT(struct sheet_site_tooth, apex), .kind = KIND_APEX},
    {"fracture_mesial", FIELD_MARK, 0, AT(struct sheet_site_tooth, fracture[MESIAL]),
     .kind = KIND_FRACTURE},
    {"fracture_distal", FIELD_MARK, 0, AT(struct sheet_site_tooth, fracture[DISTAL]),
     .kind = KIND_FRACTURE},
};
static const struct table site_tooth_table = {TABLE(site_tooth_fields), "{\"apex\": ...}"};

static const struct field bound_fields[] = {
    {"what", FIELD_TEXT, 0, TEXT_AT(struct sheet_bound, what)},
    {"path", FIELD_PATH, 0, AT(struct sheet_bound, path), .kind = KIND_BOUND},
};
static const struct table bound_table = {TABLE(bound_fields), "{\"what\": ..., \"path\": ...}"};

static const struct field plan_fields[] = {
    {"length_mm", FIELD_NUMBER, FIELD_REQUIRED, AT(struct sheet_plan, length_mm),
     .number = &size_mm},
    {"diameter_mm", FIELD_NUMBER, FIELD_REQUIRED, AT(struct sheet_plan, diameter_mm),
     .number = &size_mm},
    {"on", FIELD_WORD, FIELD_SPOKEN, AT(struct sheet_plan, on), .words = plan_words},
};
static const struct table plan_table = {TABLE(plan_fields),
                                        "{\"length_mm\": ..., \"diameter_mm\": ...}", true,
                                        offsetof(struct sheet_plan, set), true};

static const struct field observed_fields[] = {
    {"roots", FIELD_COUNT, 0, AT(struct sheet_observed, roots), .number = &root_count},
    {"facial_plate", FIELD_TEXT, 0, TEXT_AT(struct sheet_observed, facial_plate)},
    {"infection", FIELD_TEXT, 0, TEXT_AT(struct sheet_observed, infection)},
    {"primary_hold", FIELD_TEXT, 0, TEXT_AT(struct sheet_observed, primary_hold)},
    {"soft_tissue", FIELD_TEXT, 0, TEXT_AT(struct sheet_observed, soft_tissue)},
};
static const struct table observed_table = {TABLE(observed_fields), "{\"roots\": ...}"};

static const struct field sheet_fields[] = {
    {"format", FIELD_FORMAT, .flags = FIELD_REQUIRED},
    {"version", FIELD_VERSION, .flags = FIELD_REQUIRED},
    {"film", FIELD_OBJECT, FIELD_REQUIRED, AT(struct sheet, film), .sub = &film_table},
    {"site", FIELD_OBJECT, 0, AT(struct sheet, site), .sub = &site_table},
    {"gauges", FIELD_LIST, 0, AT(struct sheet, gauge), sizeof(struct sheet_gauge),
     offsetof(struct sheet, n_gauges), SHEET_GAUGES, .sub = &gauge_table},
    {"pin", FIELD_OBJECT, 0, AT(struct sheet, pin), .sub = &pin_table},
    {"pins", FIELD_LIST, 0, AT(struct sheet, pins), sizeof(struct sheet_pin),
     offsetof(struct sheet, n_pins), SHEET_PINS, .sub = &pin_table},
    {"mesial", FIELD_OBJECT, 0, AT(struct sheet, side[MESIAL]), .sub = &neighbour_table},
    {"distal", FIELD_OBJECT, 0, AT(struct sheet, side[DISTAL]), .sub = &neighbour_table},
    {"site_tooth", FIELD_OBJECT, 0, AT(struct sheet, site_tooth), .sub = &site_tooth_table},
    {"ridge", FIELD_MARK, 0, AT(struct sheet, ridge), .kind = KIND_CREST},
    {"bounds", FIELD_LIST, 0, AT(struct sheet, bound), sizeof(struct sheet_bound),
     offsetof(struct sheet, n_bounds), SHEET_BOUNDS, .sub = &bound_table},
    {"plan", FIELD_OBJECT, 0, AT(struct sheet, plan), .sub = &plan_table},
    {"observed", FIELD_OBJECT, 0, AT(struct sheet, observed), .sub = &observed_table},
    {"remarks", FIELD_REMARKS, 0, TEXT_AT(struct sheet, remarks)},
};
const struct table sheet_table = {TABLE(sheet_fields), "{\"format\": ..., \"film\": ...}"};

const struct table *sheet_field_table(const struct field *f)
{
    switch (f->type) {
    case FIELD_MARK:
    case FIELD_PAIR:
    case FIELD_PATH:
        return &sheet_mark_table;
    case FIELD_OBJECT:
    case FIELD_LIST:
        return f->sub;
    default:
        return NULL;
    }
}

bool sheet_table_knows(const struct table *t, const char *key)
{
    for (size_t i = 0; i < t->n; i++)
        if (strcmp(t->field[i].key, key) == 0)
            return true;
    return false;
}

/* --- what a field may hold ----------------------------------------------------------------------
 */

static double units_in_one(const struct number_kind *k)
{
    static const double power[] = {1.0, 10.0, 100.0, 1e3, 1e4};
    return power[k->decimals];
}

long long sheet_number_units(const struct number_kind *k, double x)
{
    long long n = llround(x * units_in_one(k));
    return n == 0 && x > 0.0 && k->zero_is_unstated ? 1 : n;
}

double sheet_number_round(const struct number_kind *k, double x)
{
    return (double)sheet_number_units(k, x) / units_in_one(k);
}

bool sheet_number_fits(const struct number_kind *k, double x)
{
    return x >= k->min && x <= k->max; /* false for NaN */
}

/* C0, DEL and C1 (U+0080 to U+009F, in UTF-8 C2 80 to C2 9F). */
static bool is_control(const unsigned char *s)
{
    return s[0] < 0x20 || s[0] == 0x7F || (s[0] == 0xC2 && s[1] >= 0x80 && s[1] < 0xA0);
}

void sheet_make_plain(char *s)
{
    for (unsigned char *p = (unsigned char *)s; *p; p++)
        if (is_control(p)) {
            p[p[0] == 0xC2] = '?';
            p[0] = '?';
        }
}

static bool has_control(const char *s, bool lines_allowed)
{
    for (const unsigned char *p = (const unsigned char *)s; *p; p++)
        if (is_control(p) && !(lines_allowed && (*p == '\n' || *p == '\t')))
            return true;
    return false;
}

static bool is_digest(const char *s)
{
    return strlen(s) == 64 && strspn(s, "0123456789abcdef") == 64;
}

const char *sheet_text_fault(const struct field *f, const char *text)
{
    if (text[0] == '\0')
        return f->flags & FIELD_REQUIRED ? "is empty: fill it in" : NULL;
    if (!plumb_text_is_utf8(text, strlen(text)))
        return "is not UTF-8: save the sheet as UTF-8";
    if (f->type == FIELD_DATE && !plumb_date_valid(text))
        return "is no date: give YYYY-MM-DD, a real day";
    if (f->type == FIELD_DIGEST && !is_digest(text))
        return "is no SHA-256: give 64 hex digits in lower case, or leave it out";
    if (has_control(text, f->type == FIELD_REMARKS))
        return "holds a control character: take it out";
    return NULL;
}

/* --- defaults -----------------------------------------------------------------------------------
 */

size_t sheet_list_count(const struct field *f, const void *base)
{
    return *(const size_t *)(const void *)((const char *)base + f->count_offset);
}

static bool marks_unset(const struct mark *m, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (m[i].set)
            return false;
    return true;
}

bool sheet_field_is_default(const struct field *f, const void *base)
{
    const void *place = (const char *)base + f->offset;
    switch (f->type) {
    case FIELD_FORMAT:
    case FIELD_VERSION:
        return false;
    case FIELD_TEXT:
    case FIELD_REMARKS:
    case FIELD_DATE:
    case FIELD_DIGEST:
        return *(const char *)place == '\0';
    case FIELD_TOOTH:
    case FIELD_COUNT:
        return *(const int *)place == 0;
    case FIELD_WORD:
        return *(const unsigned *)place == 0;
    case FIELD_FLAG:
        return !*(const bool *)place;
    case FIELD_NUMBER:
        return *(const double *)place == 0.0;
    case FIELD_PIXELS:
        return *(const size_t *)place == 0;
    case FIELD_OBJECT:
        return sheet_object_is_default(f->sub, place);
    case FIELD_MARK:
        return marks_unset(place, 1);
    case FIELD_PAIR:
        return marks_unset(place, 2);
    case FIELD_PATH:
        return ((const struct mark_path *)place)->n == 0;
    case FIELD_LIST:
        return sheet_list_count(f, base) == 0;
    }
    return false;
}

bool sheet_object_is_default(const struct table *t, const void *base)
{
    if (t->has_set)
        return !*(const bool *)((const char *)base + t->set_offset);
    for (size_t i = 0; i < t->n; i++)
        if (!sheet_field_is_default(&t->field[i], base))
            return false;
    return true;
}
