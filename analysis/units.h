/* Units of measurement: UCUM codes, and factors into each quantity's canonical unit. */
#ifndef ANALYSIS_UNITS_H
#define ANALYSIS_UNITS_H

#include <stdbool.h>

/* Factor that turns a value in `from` into a value in `to` (value_to = value_from * factor).
 *
 * Both are UCUM codes, case-sensitive: cm[H2O], kPa, mm[Hg], mL, L, mL/s, L/min, mL/min, s, min,
 * mm, cm, mm/s, cm/s, uV, mV, kg, g, % and 1. Returns false, with *ret_factor untouched, when
 * either code is unknown or the two measure different things.
 *
 * Source: 1 cmH2O = 98.0665 Pa and 1 mmHg = 133.322387415 Pa (conventional values, BIPM SI brochure
 * and ISO 80000-4). */
bool units_factor(const char *from, const char *to, double *ret_factor);

#endif
