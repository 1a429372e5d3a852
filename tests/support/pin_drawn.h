/* A pin drawn and found, for the tests of what the finder measures. */
#ifndef PIN_DRAWN_H
#define PIN_DRAWN_H

#include "fixtures/phantom.h"
#include "plumbrule/find.h"

/* The plain film in larger pixels: quicker. */
void pin_drawn_small(struct phantom_params *p);
/* Draws p and finds its pin, the first listed; the truth goes to t. false: none is listed. */
bool pin_drawn_find(const struct phantom_params *p, struct find_pin *pin, struct phantom_truth *t);

#endif
