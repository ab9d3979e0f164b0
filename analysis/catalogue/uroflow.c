#include "analysis/catalogue/flow_rows.h"

static const struct catalogue_row rows[] = {FLOW_ROWS("uroflow", 0)};

const struct catalogue_section catalogue_uroflow = {
    .code = "uroflow",
    .label = "Free flow",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
};
