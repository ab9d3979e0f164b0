/* The sections of the catalogue, one file each. Private to the catalogue. */
#ifndef ANALYSIS_CATALOGUE_SECTIONS_H
#define ANALYSIS_CATALOGUE_SECTIONS_H

#include "analysis/catalogue.h"

extern const struct catalogue_section catalogue_uroflow;
extern const struct catalogue_section catalogue_filling;
extern const struct catalogue_section catalogue_voiding;
extern const struct catalogue_section catalogue_emg;
extern const struct catalogue_section catalogue_profiles;
extern const struct catalogue_section catalogue_profiles_summary;
extern const struct catalogue_section catalogue_anorectal;
extern const struct catalogue_section catalogue_training;

#endif
