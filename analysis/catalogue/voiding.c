#include "analysis/catalogue/flow_rows.h"

#define PRESSURE_SIGNALS (CATALOGUE_SIGNAL(PVES) | CATALOGUE_SIGNAL(PABD) | CATALOGUE_SIGNAL(PDET))

static const struct catalogue_row rows[] = {
    FLOW_ROWS("voiding", offsetof(struct voiding_measures, flow)),
    {"voiding", "flow_delay_s", CATALOGUE_NUMBER, "s", 0.1, "Flow delay",
     "Time by which flow is recorded later than pressure: as entered, else 0.8 s.", ICS_GUP_2016,
     offsetof(struct voiding_measures, flow_delay), 0},
    {"voiding", "opening_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Opening detrusor pressure",
     "Detrusor pressure at the onset of flow, earlier by the flow delay.", ICS_PRESSURE,
     offsetof(struct voiding_measures, opening_pressure), PRESSURE_SIGNALS},
    {"voiding", "pdet_max", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Maximum detrusor pressure",
     "Largest 1 s average of the detrusor pressure during the flow.", ICS_PRESSURE,
     offsetof(struct voiding_measures, pdet_max), PRESSURE_SIGNALS},
    {"voiding", "pves_max", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Maximum vesical pressure",
     "Largest 1 s average of the vesical pressure during the flow.", ICS_PRESSURE,
     offsetof(struct voiding_measures, pves_max), CATALOGUE_SIGNAL(PVES)},
    {"voiding", "pabd_max", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Maximum abdominal pressure",
     "Largest 1 s average of the abdominal pressure during the flow.", ICS_PRESSURE,
     offsetof(struct voiding_measures, pabd_max), CATALOGUE_SIGNAL(PABD)},
    {"voiding", "pdet_qmax", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Detrusor pressure at maximum flow (pdetQmax)",
     "2 s average of the detrusor pressure at the moment of Qmax, earlier by the flow delay.",
     ICS_PRESSURE, offsetof(struct voiding_measures, pdet_qmax), PRESSURE_SIGNALS},
    {"voiding", "pves_qmax", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Vesical pressure at maximum flow",
     "2 s average of the vesical pressure at the moment of Qmax, earlier by the flow delay.",
     ICS_PRESSURE, offsetof(struct voiding_measures, pves_qmax), CATALOGUE_SIGNAL(PVES)},
    {"voiding", "pabd_qmax", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Abdominal pressure at maximum flow",
     "2 s average of the abdominal pressure at the moment of Qmax, earlier by the flow delay.",
     ICS_PRESSURE, offsetof(struct voiding_measures, pabd_qmax), CATALOGUE_SIGNAL(PABD)},
    {"voiding", "closing_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Closing detrusor pressure",
     "Detrusor pressure at the end of flow, earlier by the flow delay.", ICS_PRESSURE,
     offsetof(struct voiding_measures, closing_pressure), PRESSURE_SIGNALS},
    {"voiding", "booi", CATALOGUE_NUMBER, "1", 1.0, "Bladder outlet obstruction index (BOOI)",
     "pdetQmax minus 2 times Qmax; men.", ABRAMS_1999, offsetof(struct voiding_measures, booi),
     PRESSURE_SIGNALS},
    {"voiding", "bci", CATALOGUE_NUMBER, "1", 1.0, "Bladder contractility index (BCI)",
     "pdetQmax plus 5 times Qmax; men.", ABRAMS_1999, offsetof(struct voiding_measures, bci),
     PRESSURE_SIGNALS},
};

const struct catalogue_section catalogue_voiding = {
    .code = "voiding",
    .label = "Voiding",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
};
