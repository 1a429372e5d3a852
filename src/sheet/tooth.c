/*
 * Teeth: FDI two-digit numbers (ISO 3950), Universal 1-32 and A-T, names, neighbours.
 *
 * An FDI number is quadrant and place. Quadrants 1 to 4 go round from the patient's upper right:
 * upper right, upper left, lower left, lower right; 5 to 8 are the same for deciduous teeth. The
 * place counts from the midline. Universal numbers go along the upper arch from the patient's
 * right to the left, then along the lower arch back.
 */
#include "plumbrule/sheet.h"

#include <stdio.h>
#include <string.h>

enum { PERMANENT_PLACES = 8, DECIDUOUS_PLACES = 5 };

static int quadrant(int fdi)
{
    return fdi / 10;
}

static int place(int fdi)
{
    return fdi % 10;
}

static bool is_deciduous(int fdi)
{
    return quadrant(fdi) > 4;
}

static int places_in(int quad)
{
    return quad > 4 ? DECIDUOUS_PLACES : PERMANENT_PLACES;
}

bool plumb_tooth_valid(int fdi)
{
    return fdi > 0 && quadrant(fdi) >= 1 && quadrant(fdi) <= 8 && place(fdi) >= 1 &&
           place(fdi) <= places_in(quadrant(fdi));
}

/* Counts along the arches from 1, in the order of Universal numbering; of its own dentition. */
static int rank_of(int fdi)
{
    int n = places_in(quadrant(fdi)), p = place(fdi);
    switch ((quadrant(fdi) - 1) % 4) {
    case 0:
        return n + 1 - p;
    case 1:
        return n + p;
    case 2:
        return 3 * n + 1 - p;
    default:
        return 3 * n + p;
    }
}

static int tooth_of_rank(int rank, bool deciduous)
{
    int n = deciduous ? DECIDUOUS_PLACES : PERMANENT_PLACES;
    if (rank < 1 || rank > 4 * n)
        return 0;
    int q = (rank - 1) / n, step = (rank - 1) % n + 1;
    int p = q % 2 == 0 ? n + 1 - step : step;
    return 10 * (q + (deciduous ? 5 : 1)) + p;
}

/* One or two digits without a leading zero; 0 when it is something else. */
static int small_number(const char *s)
{
    size_t n = strlen(s);
    if (n < 1 || n > 2 || strspn(s, "0123456789") != n || s[0] == '0')
        return 0;
    return n == 1 ? s[0] - '0' : 10 * (s[0] - '0') + (s[1] - '0');
}

static int parse_universal(const char *text)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRST";
    char c = text[0] >= 'a' && text[0] <= 'z' ? (char)(text[0] - 'a' + 'A') : text[0];
    const char *at = c != '\0' && text[1] == '\0' ? strchr(letters, c) : NULL;
    if (at != NULL)
        return tooth_of_rank((int)(at - letters) + 1, true);
    return tooth_of_rank(small_number(text), false);
}

int plumb_tooth_parse(const char *text, enum sheet_notation notation, int *fdi, struct err *err)
{
    int n = notation == NOTATION_UNIVERSAL ? parse_universal(text) : small_number(text);
    if (!plumb_tooth_valid(n))
        return plumb_err_set(err, ERR_FORMAT,
                             notation == NOTATION_UNIVERSAL
                                 ? "is no tooth in Universal notation: give 1 to 32 or A to T"
                                 : "is no tooth in FDI notation: give 11 to 48, or 51 to 85 for "
                                   "deciduous teeth");
    *fdi = n;
    return 0;
}

void plumb_tooth_print(int fdi, enum sheet_notation notation, char out[8])
{
    if (!plumb_tooth_valid(fdi))
        out[0] = '\0';
    else if (notation != NOTATION_UNIVERSAL)
        snprintf(out, 8, "%d", fdi);
    else if (is_deciduous(fdi))
        snprintf(out, 8, "%c", 'A' + rank_of(fdi) - 1);
    else
        snprintf(out, 8, "%d", rank_of(fdi));
}

/* The quadrant across the midline, in the same jaw. */
static int across(int quad)
{
    return quad % 2 == 1 ? quad + 1 : quad - 1;
}

void plumb_tooth_neighbours(int fdi, int *mesial, int *distal)
{
    *mesial = *distal = 0;
    if (!plumb_tooth_valid(fdi))
        return;
    *mesial = place(fdi) > 1 ? fdi - 1 : 10 * across(quadrant(fdi)) + 1;
    *distal = place(fdi) < places_in(quadrant(fdi)) ? fdi + 1 : 0;
}

bool plumb_tooth_is_upper(int fdi)
{
    int q = (quadrant(fdi) - 1) % 4;
    return plumb_tooth_valid(fdi) && q < 2;
}

const char *plumb_tooth_name(int fdi, char out[64])
{
    static const char *const corner[] = {"upper right", "upper left", "lower left", "lower right"};
    static const char *const permanent[] = {"central incisor", "lateral incisor", "canine",
                                            "first premolar",  "second premolar", "first molar",
                                            "second molar",    "third molar"};
    static const char *const deciduous[] = {"central incisor", "lateral incisor", "canine",
                                            "first molar", "second molar"};
    if (!plumb_tooth_valid(fdi))
        snprintf(out, 64, "no tooth");
    else
        snprintf(out, 64, "%s %s%s", corner[(quadrant(fdi) - 1) % 4],
                 is_deciduous(fdi) ? "deciduous " : "",
                 is_deciduous(fdi) ? deciduous[place(fdi) - 1] : permanent[place(fdi) - 1]);
    return out;
}

/*
 * The viewer faces the patient, so the patient's right is on the viewer's left. Upper right: mesial
 * is to the viewer's right, apical is up (0,-1), and geo_perp(apical) = (1,0) is that way: +1. On
 * the upper left mesial is the other way: -1. Lower left: apical is down (0,1), geo_perp(apical) =
 * (-1,0), mesial is to the viewer's left: +1. Lower right: -1.
 */
int plumb_tooth_mesial_turn(int fdi)
{
    if (!plumb_tooth_valid(fdi))
        return 0;
    return quadrant(fdi) % 2 == 1 ? 1 : -1;
}
