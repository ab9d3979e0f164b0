#include "analysis/catalogue/sections.h"

const struct catalogue_section catalogue_training = {
    .code = "training",
    .label = "Pelvic floor training",
};
