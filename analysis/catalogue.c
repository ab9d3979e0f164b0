#include "analysis/catalogue.h"

#include <math.h>
#include <string.h>

#define ICS_2002        "Abrams P et al. (ICS). Neurourol Urodyn 2002;21:167-178"
#define ICS_GUP         "Schafer W et al. (ICS). Neurourol Urodyn 2002;21:261-274"
#define ICS_GUP_2016    "Rosier PFWM et al. (ICS). Neurourol Urodyn 2017;36:1243-1260"
#define ICS_PRESSURE    "Griffiths D et al. (ICS). Neurourol Urodyn 1997;16:1-18"
#define ABRAMS_1999     "Abrams P. BJU Int 1999;84:14-15"
#define COMMON_PRACTICE "common practice, no source"

/* Rows of the flow parameters, the same for free flow and for the voiding of a pressure-flow study.
 * base: offset of the struct flow_measures within the result. */
#define FLOW_ROWS(section_code, base)                                                              \
    {(section_code),                                                                               \
     "qmax",                                                                                       \
     CATALOGUE_NUMBER,                                                                             \
     "mL/s",                                                                                       \
     1.0,                                                                                          \
     "Maximum flow rate (Qmax)",                                                                   \
     "Largest value of the centred 2 s average of the flow, knocks on the meter excluded.",        \
     ICS_GUP,                                                                                      \
     (base) + offsetof(struct flow_measures, qmax)},                                               \
        {(section_code),                                                                           \
         "qave",                                                                                   \
         CATALOGUE_NUMBER,                                                                         \
         "mL/s",                                                                                   \
         1.0,                                                                                      \
         "Average flow rate (Qave)",                                                               \
         "Voided volume over flow time; gaps in the flow are not counted.",                        \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, qave)},                                           \
        {(section_code),                                                                           \
         "voided_volume",                                                                          \
         CATALOGUE_NUMBER,                                                                         \
         "mL",                                                                                     \
         10.0,                                                                                     \
         "Voided volume",                                                                          \
         "Rise of the voided volume signal over the voiding; without it, the integral of the "     \
         "flow.",                                                                                  \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, voided_volume)},                                  \
        {(section_code),                                                                           \
         "flow_time",                                                                              \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Flow time",                                                                              \
         "Time during which flow is at least 0.5 mL/s, without gaps of 1 s or more.",              \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, flow_time)},                                      \
        {(section_code),                                                                           \
         "voiding_time",                                                                           \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Voiding time",                                                                           \
         "Time from the first onset of flow to its last end, gaps included.",                      \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, voiding_time)},                                   \
        {(section_code),                                                                           \
         "time_to_qmax",                                                                           \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Time to maximum flow",                                                                   \
         "Time from the onset of flow to the moment of Qmax.",                                     \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, time_to_qmax)},                                   \
        {(section_code),                                                                           \
         "delay_time",                                                                             \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Delay time",                                                                             \
         "Time from the permission_to_void marker to the onset of flow.",                          \
         COMMON_PRACTICE,                                                                          \
         (base) + offsetof(struct flow_measures, delay_time)},                                     \
        {(section_code),                                                                           \
         "interruptions",                                                                          \
         CATALOGUE_NUMBER,                                                                         \
         "1",                                                                                      \
         1.0,                                                                                      \
         "Interruptions",                                                                          \
         "Number of gaps in which flow stays below 0.5 mL/s for at least 1 s.",                    \
         COMMON_PRACTICE,                                                                          \
         (base) + offsetof(struct flow_measures, interruptions)},                                  \
        {(section_code),                                                                           \
         "post_void_residual",                                                                     \
         CATALOGUE_NUMBER,                                                                         \
         "mL",                                                                                     \
         10.0,                                                                                     \
         "Post-void residual (PVR)",                                                               \
         "Volume left in the bladder after voiding, as entered with the upload.",                  \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, post_void_residual)},                             \
        {(section_code),                                                                           \
         "initial_volume",                                                                         \
         CATALOGUE_NUMBER,                                                                         \
         "mL",                                                                                     \
         10.0,                                                                                     \
         "Initial bladder volume",                                                                 \
         "Voided volume plus post-void residual.",                                                 \
         COMMON_PRACTICE,                                                                          \
         (base) + offsetof(struct flow_measures, initial_volume)},                                 \
        {(section_code),                                                                           \
         "voiding_efficiency",                                                                     \
         CATALOGUE_NUMBER,                                                                         \
         "%",                                                                                      \
         1.0,                                                                                      \
         "Voiding efficiency (Void%)",                                                             \
         "100 times voided volume over voided volume plus post-void residual.",                    \
         ABRAMS_1999,                                                                              \
         (base) + offsetof(struct flow_measures, voiding_efficiency)},                             \
        {(section_code),                                                                           \
         "qmax_corrected",                                                                         \
         CATALOGUE_NUMBER,                                                                         \
         "1",                                                                                      \
         0.01,                                                                                     \
         "Corrected maximum flow (cQmax)",                                                         \
         "Qmax over the square root of the initial bladder volume, numbers in mL/s and mL.",       \
         "von Garrelts B, from memory",                                                            \
         (base) + offsetof(struct flow_measures, qmax_corrected)},                                 \
        {(section_code),                                                                           \
         "flow_pattern",                                                                           \
         CATALOGUE_WORD,                                                                           \
         NULL,                                                                                     \
         1.0,                                                                                      \
         "Flow pattern",                                                                           \
         "Shape of the curve: bell, staccato or interrupted below 18 years; smooth, fluctuating "  \
         "or interrupted otherwise.",                                                              \
         "Austin PF et al. (ICCS). Neurourol Urodyn 2016;35:471-481, from memory",                 \
         (base) + offsetof(struct flow_measures, flow_pattern)},                                   \
    {                                                                                              \
        (section_code), "qmax_centile", CATALOGUE_NUMBER, "1", 1.0, "Centile of Qmax",             \
            "Share of adults of the same sex (and age, for men) with a lower Qmax at this voided " \
            "volume, in hundredths, by the Liverpool nomogram; free flow only.",                   \
            "Haylen BT et al. Br J Urol 1989;64:30-38, coefficients from memory, unconfirmed",     \
            (base) + offsetof(struct flow_measures, qmax_centile)                                  \
    }

#define FILLING(member) offsetof(struct analysis_result, filling.member)
#define VOIDING(member) offsetof(struct analysis_result, voiding.member)

static const struct catalogue_row rows[] = {
    FLOW_ROWS("uroflow", offsetof(struct analysis_result, uroflow)),

    {"filling", "filling_rate", CATALOGUE_NUMBER, "mL/min", 1.0, "Filling rate",
     "Median slope of the infused volume while it rises; without that signal, as entered.",
     ICS_2002, FILLING(filling_rate)},
    {"filling", "pves_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Resting vesical pressure (pves)",
     "Median of the first quiet 5 s around the start of filling.", ICS_GUP, FILLING(pves_baseline)},
    {"filling", "pabd_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Resting abdominal pressure (pabd)",
     "Median of the first quiet 5 s around the start of filling.", ICS_GUP, FILLING(pabd_baseline)},
    {"filling", "pdet_baseline", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Resting detrusor pressure (pdet)",
     "Median of the first quiet 5 s around the start of filling.", ICS_GUP, FILLING(pdet_baseline)},
    {"filling", "first_sensation_volume", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume at first sensation of filling",
     "Infused volume plus entered initial residual at the first_sensation marker.", ICS_2002,
     FILLING(first_sensation_volume)},
    {"filling", "first_desire_volume", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume at first desire to void",
     "Infused volume plus entered initial residual at the first_desire marker.", ICS_2002,
     FILLING(first_desire_volume)},
    {"filling", "strong_desire_volume", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume at strong desire to void",
     "Infused volume plus entered initial residual at the strong_desire marker.", ICS_2002,
     FILLING(strong_desire_volume)},
    {"filling", "urgency_volume", CATALOGUE_NUMBER, "mL", 10.0, "Volume at urgency",
     "Infused volume plus entered initial residual at the first urgency marker.", ICS_2002,
     FILLING(urgency_volume)},
    {"filling", "cystometric_capacity", CATALOGUE_NUMBER, "mL", 10.0, "Cystometric capacity",
     "Infused volume plus entered initial residual at permission to void.", ICS_2002,
     FILLING(cystometric_capacity)},
    {"filling", "pdet_end_fill", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Detrusor pressure at the end of filling", "Median of the last 5 s before permission to void.",
     ICS_2002, FILLING(pdet_end_fill)},
    {"filling", "compliance", CATALOGUE_NUMBER, "mL/cm[H2O]", 1.0, "Bladder compliance",
     "Volume change over change of detrusor pressure between the start of filling and "
     "cystometric capacity.",
     ICS_2002, FILLING(compliance)},
    {"filling", "compliance_volume_change", CATALOGUE_NUMBER, "mL", 10.0,
     "Volume change for compliance",
     "Infused volume between the two moments at which the pressures for compliance are read.",
     ICS_2002, FILLING(compliance_volume_change)},
    {"filling", "compliance_pressure_change", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Pressure change for compliance",
     "Detrusor pressure at the end of filling minus that at its start.", ICS_2002,
     FILLING(compliance_pressure_change)},

    FLOW_ROWS("voiding",
              offsetof(struct analysis_result, voiding) + offsetof(struct voiding_measures, flow)),
    {"voiding", "flow_delay_s", CATALOGUE_NUMBER, "s", 0.1, "Flow delay",
     "Time by which flow is recorded later than pressure: as entered, else 0.8 s.", ICS_GUP_2016,
     VOIDING(flow_delay)},
    {"voiding", "opening_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Opening detrusor pressure",
     "Detrusor pressure at the onset of flow, earlier by the flow delay.", ICS_PRESSURE,
     VOIDING(opening_pressure)},
    {"voiding", "pdet_max", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Maximum detrusor pressure",
     "Largest 1 s average of the detrusor pressure during the flow.", ICS_PRESSURE,
     VOIDING(pdet_max)},
    {"voiding", "pves_max", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Maximum vesical pressure",
     "Largest 1 s average of the vesical pressure during the flow.", ICS_PRESSURE,
     VOIDING(pves_max)},
    {"voiding", "pabd_max", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Maximum abdominal pressure",
     "Largest 1 s average of the abdominal pressure during the flow.", ICS_PRESSURE,
     VOIDING(pabd_max)},
    {"voiding", "pdet_qmax", CATALOGUE_NUMBER, "cm[H2O]", 1.0,
     "Detrusor pressure at maximum flow (pdetQmax)",
     "2 s average of the detrusor pressure at the moment of Qmax, earlier by the flow delay.",
     ICS_PRESSURE, VOIDING(pdet_qmax)},
    {"voiding", "pves_qmax", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Vesical pressure at maximum flow",
     "2 s average of the vesical pressure at the moment of Qmax, earlier by the flow delay.",
     ICS_PRESSURE, VOIDING(pves_qmax)},
    {"voiding", "pabd_qmax", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Abdominal pressure at maximum flow",
     "2 s average of the abdominal pressure at the moment of Qmax, earlier by the flow delay.",
     ICS_PRESSURE, VOIDING(pabd_qmax)},
    {"voiding", "closing_pressure", CATALOGUE_NUMBER, "cm[H2O]", 1.0, "Closing detrusor pressure",
     "Detrusor pressure at the end of flow, earlier by the flow delay.", ICS_PRESSURE,
     VOIDING(closing_pressure)},
    {"voiding", "booi", CATALOGUE_NUMBER, "1", 1.0, "Bladder outlet obstruction index (BOOI)",
     "pdetQmax minus 2 times Qmax; men.", ABRAMS_1999, VOIDING(booi)},
    {"voiding", "bci", CATALOGUE_NUMBER, "1", 1.0, "Bladder contractility index (BCI)",
     "pdetQmax plus 5 times Qmax; men.", ABRAMS_1999, VOIDING(bci)},
};

size_t catalogue_count(void)
{
    return sizeof rows / sizeof rows[0];
}

const struct catalogue_row *catalogue_row(size_t index)
{
    return &rows[index];
}

const struct measure *catalogue_measure(const struct catalogue_row *row,
                                        const struct analysis_result *result)
{
    return (const struct measure *)(const void *)((const char *)result + row->offset);
}

bool catalogue_section_present(const struct catalogue_row *row,
                               const struct analysis_result *result)
{
    if (strcmp(row->section, "uroflow") == 0) {
        return result->has_uroflow;
    }
    if (strcmp(row->section, "filling") == 0) {
        return result->has_filling;
    }
    return result->has_voiding;
}

double catalogue_rounded(const struct catalogue_row *row, double value)
{
    /* A step below 1 is divided by its inverse, so that 0.29 does not become 0.29000000000000004.
     */
    if (row->report_step < 1.0) {
        const double parts = round(1.0 / row->report_step);

        return round(value * parts) / parts;
    }
    return round(value / row->report_step) * row->report_step;
}

const char *catalogue_section_label(const char *section)
{
    static const struct {
        const char *section;
        const char *label;
    } labels[] = {{"uroflow", "Free flow"}, {"filling", "Filling"}, {"voiding", "Voiding"}};

    for (size_t i = 0; i < sizeof labels / sizeof labels[0]; i++) {
        if (strcmp(section, labels[i].section) == 0) {
            return labels[i].label;
        }
    }
    return NULL;
}
