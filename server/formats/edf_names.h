/* What EDF calls a signal and a unit, and what the contract calls them. Private to formats/. */
#ifndef FORMATS_EDF_NAMES_H
#define FORMATS_EDF_NAMES_H

#include "analysis/recording.h"
#include "base/arena.h"

/* The signal that a label names by itself, or SIGNAL_NONE. Capitals, blanks, '_', '-' and '.' do
 * not count; a leading word that says the kind of signal ("Press", "Flow", "EMG") may be there;
 * then it is the contract's name or one of the few synonyms in the table. */
enum signal_kind edf_names_signal(const char *label);

/* The label written for a signal: a kind and the contract's name, at most 16 characters. */
const char *edf_names_label(enum signal_kind signal);

/* The UCUM unit that a physical dimension means ("cmH2O", "ml/sec"), or NULL. */
const char *edf_names_unit(const char *dimension);

/* The physical dimension written for a UCUM unit, at most 8 characters, or NULL. */
const char *edf_names_dimension(const char *unit);

/* The dimensions, separated by commas, whose unit fits a signal: for a fault. */
const char *edf_names_dimensions_for(enum signal_kind signal, struct arena *arena);

#endif
