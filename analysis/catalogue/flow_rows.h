/* Rows of the flow parameters, the same for free flow and for the voiding of a pressure-flow study.
 * Private to catalogue/. */
#ifndef ANALYSIS_CATALOGUE_FLOW_ROWS_H
#define ANALYSIS_CATALOGUE_FLOW_ROWS_H

#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

#define FLOW_SIGNALS (CATALOGUE_SIGNAL(FLOW) | CATALOGUE_SIGNAL(VVOID))

/* Rows of the flow parameters, the same for free flow and for the voiding of a pressure-flow study.
 * base: offset of the struct flow_measures within the section. */
#define FLOW_ROWS(section_code, base)                                                              \
    {(section_code),                                                                               \
     "qmax",                                                                                       \
     CATALOGUE_NUMBER,                                                                             \
     "mL/s",                                                                                       \
     1.0,                                                                                          \
     "Maximum flow rate (Qmax)",                                                                   \
     "Largest value of the centred 2 s average of the flow, knocks on the meter excluded.",        \
     ICS_GUP,                                                                                      \
     (base) + offsetof(struct flow_measures, qmax),                                                \
     FLOW_SIGNALS},                                                                                \
        {(section_code),                                                                           \
         "qave",                                                                                   \
         CATALOGUE_NUMBER,                                                                         \
         "mL/s",                                                                                   \
         1.0,                                                                                      \
         "Average flow rate (Qave)",                                                               \
         "Voided volume over flow time; gaps in the flow are not counted.",                        \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, qave),                                            \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "voided_volume",                                                                          \
         CATALOGUE_NUMBER,                                                                         \
         "mL",                                                                                     \
         10.0,                                                                                     \
         "Voided volume",                                                                          \
         "Rise of the voided volume signal over the voiding; without it, the integral of the "     \
         "flow.",                                                                                  \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, voided_volume),                                   \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "flow_time",                                                                              \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Flow time",                                                                              \
         "Time during which flow is at least 0.5 mL/s, without gaps of 1 s or more.",              \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, flow_time),                                       \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "voiding_time",                                                                           \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Voiding time",                                                                           \
         "Time from the first onset of flow to its last end, gaps included.",                      \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, voiding_time),                                    \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "time_to_qmax",                                                                           \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Time to maximum flow",                                                                   \
         "Time from the onset of flow to the moment of Qmax.",                                     \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, time_to_qmax),                                    \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "delay_time",                                                                             \
         CATALOGUE_NUMBER,                                                                         \
         "s",                                                                                      \
         1.0,                                                                                      \
         "Delay time",                                                                             \
         "Time from the permission_to_void marker to the onset of flow.",                          \
         COMMON_PRACTICE,                                                                          \
         (base) + offsetof(struct flow_measures, delay_time),                                      \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "interruptions",                                                                          \
         CATALOGUE_NUMBER,                                                                         \
         "1",                                                                                      \
         1.0,                                                                                      \
         "Interruptions",                                                                          \
         "Number of gaps in which flow stays below 0.5 mL/s for at least 1 s.",                    \
         COMMON_PRACTICE,                                                                          \
         (base) + offsetof(struct flow_measures, interruptions),                                   \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "post_void_residual",                                                                     \
         CATALOGUE_NUMBER,                                                                         \
         "mL",                                                                                     \
         10.0,                                                                                     \
         "Post-void residual (PVR)",                                                               \
         "Volume left in the bladder after voiding, as entered with the upload.",                  \
         ICS_2002,                                                                                 \
         (base) + offsetof(struct flow_measures, post_void_residual),                              \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "initial_volume",                                                                         \
         CATALOGUE_NUMBER,                                                                         \
         "mL",                                                                                     \
         10.0,                                                                                     \
         "Initial bladder volume",                                                                 \
         "Voided volume plus post-void residual.",                                                 \
         COMMON_PRACTICE,                                                                          \
         (base) + offsetof(struct flow_measures, initial_volume),                                  \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "voiding_efficiency",                                                                     \
         CATALOGUE_NUMBER,                                                                         \
         "%",                                                                                      \
         1.0,                                                                                      \
         "Voiding efficiency (Void%)",                                                             \
         "100 times voided volume over voided volume plus post-void residual.",                    \
         ABRAMS_1999,                                                                              \
         (base) + offsetof(struct flow_measures, voiding_efficiency),                              \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "qmax_corrected",                                                                         \
         CATALOGUE_NUMBER,                                                                         \
         "1",                                                                                      \
         0.01,                                                                                     \
         "Corrected maximum flow (cQmax)",                                                         \
         "Qmax over the square root of the initial bladder volume, numbers in mL/s and mL.",       \
         "von Garrelts B, from memory",                                                            \
         (base) + offsetof(struct flow_measures, qmax_corrected),                                  \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "flow_pattern",                                                                           \
         CATALOGUE_WORD,                                                                           \
         NULL,                                                                                     \
         1.0,                                                                                      \
         "Flow pattern",                                                                           \
         "Shape of the curve: bell, tower, plateau, staccato or interrupted below 18 years; "      \
         "smooth, fluctuating or interrupted otherwise.",                                          \
         "Austin PF et al. (ICCS). Neurourol Urodyn 2016;35:471-481, from memory",                 \
         (base) + offsetof(struct flow_measures, flow_pattern),                                    \
         FLOW_SIGNALS},                                                                            \
        {(section_code),                                                                           \
         "qmax_centile",                                                                           \
         CATALOGUE_NUMBER,                                                                         \
         "1",                                                                                      \
         1.0,                                                                                      \
         "Centile of Qmax",                                                                        \
         "Share of adults of the same sex (and age, for men) with a lower Qmax at this voided "    \
         "volume, in hundredths, by the Liverpool nomogram; free flow only.",                      \
         "Haylen BT et al. Br J Urol 1989;64:30-38, coefficients from memory, unconfirmed",        \
         (base) + offsetof(struct flow_measures, qmax_centile),                                    \
         FLOW_SIGNALS},                                                                            \
    {                                                                                              \
        (section_code), "expected_capacity", CATALOGUE_NUMBER, "mL", 10.0,                         \
            "Bladder capacity expected at this age",                                               \
            "30 mL times age plus one, 390 mL from 12 years on; 38 mL plus 2.5 mL a month in the " \
            "first year; children's free flow only.",                                              \
            "Neveus T et al. (ICCS). J Urol 2006;176:314-324, from memory; Sano Y et al. 2023; "   \
            "infants Holmdahl G et al. J Urol 1996;156:1809-1812",                                 \
            (base) + offsetof(struct flow_measures, expected_capacity), 0                          \
    }

#endif
