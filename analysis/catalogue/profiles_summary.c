#include "analysis/catalogue/sections.h"

const struct catalogue_section catalogue_profiles_summary = {
    .code = "profiles_summary",
    .label = "Urethral pressure profiles, summary",
};
