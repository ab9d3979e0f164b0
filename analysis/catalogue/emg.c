#include "analysis/catalogue/sections.h"

const struct catalogue_section catalogue_emg = {
    .code = "emg",
    .label = "Electromyogram",
};
