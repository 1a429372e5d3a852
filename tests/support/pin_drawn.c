#include "tests/support/pin_drawn.h"

void pin_drawn_small(struct phantom_params *p)
{
    static const double larger = 1.4;
    phantom_params_plain(p);
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
