#include "tests/support/pin_drawn.h"

void pin_drawn_small(enum phantom_tone tone, struct phantom_params *p)
{
    static const double larger = 1.4;
    phantom_params_plain(p);
    p->detector.tone = tone;
    p->detector.pitch_mm *= larger;
    p->detector.width = (size_t)((double)p->detector.width / larger);
    p->detector.height = (size_t)((double)p->detector.height / larger);
}

bool pin_drawn_find(const struct phantom_params *p, struct find_pin *pin, struct phantom_truth *t)
{
    struct phantom ph = {0};
    struct film film = {0};
    struct find_pins pins = {0};
    bool found = phantom_draw(p, &ph, NULL) == 0 && phantom_to_film(&ph, &film, NULL) == 0 &&
                 plumb_find_pins(&film, NULL, &pins, NULL) == 0 && pins.n > 0;
    if (found) {
        *pin = pins.at[0];
        *t = ph.truth;
    }
    plumb_find_pins_release(&pins);
    plumb_film_release(&film);
    phantom_release(&ph);
    return found;
}

bool pin_drawn_style(enum phantom_style style, uint64_t seed, struct find_pin *pin,
                     struct phantom_truth *t)
{
    struct phantom_params p;
    phantom_params_style(style, seed, true, &p);
    return pin_drawn_find(&p, pin, t);
}
