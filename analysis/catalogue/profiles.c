#include "analysis/catalogue/sections.h"

const struct catalogue_section catalogue_profiles = {
    .code = "profiles",
    .label = "Urethral pressure profiles",
    .repeated = true,
};
