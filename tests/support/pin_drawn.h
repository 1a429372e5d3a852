/* A pin drawn and found, for the tests of what the finder measures. */
#ifndef PIN_DRAWN_H
#define PIN_DRAWN_H

#include "fixtures/phantom.h"
#include "plumbrule/find.h"

/* The plain film of a tone in larger pixels: quicker. */
void pin_drawn_small(enum phantom_tone tone, struct phantom_params *p);
/* Draws p and finds its pin, the first listed; the truth goes to t. false: none is listed. */
bool pin_drawn_find(const struct phantom_params *p, struct find_pin *pin, struct phantom_truth *t);
/* The same for a film with a pin of some style. */
bool pin_drawn_style(enum phantom_style style, uint64_t seed, struct find_pin *pin,
                     struct phantom_truth *t);

#endif
