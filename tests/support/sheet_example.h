/*
 * An invented sheet with every key of the format, as the document and as the struct it stands for,
 * both written by hand: a cyclist's broken lower left second premolar.
 */
#ifndef TESTS_SUPPORT_SHEET_EXAMPLE_H
#define TESTS_SUPPORT_SHEET_EXAMPLE_H

#include "plumbrule/sheet.h"

/* The document in the layout that writing gives. */
extern const char sheet_example_text[];
/* What it says; release it. */
void sheet_example(struct sheet *out);
/* Every field but unknown keys; on a difference false, and its name is printed. */
bool sheet_same(const struct sheet *a, const struct sheet *b);

#endif
