#include "analysis/catalogue/sections.h"

const struct catalogue_section catalogue_anorectal = {
    .code = "anorectal",
    .label = "Anorectal manometry",
};
