/* Urethral pressure profiles, alone and within a pressure-flow study. Orientation: maximum closure
 * pressure of women about 110 less the age in years, functional length about 30 mm; men have a
 * prostatic part before the sphincter (common practice, no source). */
#include "plan.h"
#include "plan_urethra.h"

static const struct plan_urethra urethra_woman = {.closure_cmh2o = 54.0,
                                                  .functional_mm = 30.0,
                                                  .peak_part = 0.48,
                                                  .speed_mm_s = 1.0,
                                                  .puller_channel = true,
                                                  .rest_pulls = 3,
                                                  .transmission = {1.0, 0.97, 0.9}};

const struct plan plan_profile_woman = {
    .type = PLAN_URETHRAL_PROFILE,
    .posture = PLAN_SUPINE,
    .pressure_hz = 20.0,
    .resting_pdet_cmh2o = 3.0,
    .urethra = &urethra_woman,
    .comment = "Bladder holds 200 mL; sensor at 9 o'clock",
};

static const struct plan_urethra urethra_woman_stress = {.closure_cmh2o = 53.0,
                                                         .functional_mm = 30.0,
                                                         .peak_part = 0.48,
                                                         .speed_mm_s = 1.0,
                                                         .puller_channel = true,
                                                         .stress_pulls = 2,
                                                         .cough_cmh2o = 62.0,
                                                         .cough_period_s = 5.0,
                                                         .transmission = {0.94, 0.78, 0.64}};

const struct plan plan_profile_woman_stress = {
    .type = PLAN_URETHRAL_PROFILE,
    .posture = PLAN_SUPINE,
    .pressure_hz = 50.0,
    .format = PLAN_INT16,
    .resting_pdet_cmh2o = 3.0,
    .urethra = &urethra_woman_stress,
    .comment = "Coughs every few millimetres",
};

static const struct plan_urethra urethra_woman_low = {.closure_cmh2o = 16.5,
                                                      .functional_mm = 22.0,
                                                      .peak_part = 0.42,
                                                      .speed_mm_s = 1.0,
                                                      .rest_pulls = 3,
                                                      .transmission = {1.0, 0.97, 0.9}};

const struct plan plan_profile_woman_low = {
    .type = PLAN_URETHRAL_PROFILE,
    .posture = PLAN_SUPINE,
    .pressure_hz = 10.0,
    .resting_pdet_cmh2o = 2.0,
    .urethra = &urethra_woman_low,
    .comment = "Puller without a position output, set to 1 mm/s",
};

static const struct plan_urethra urethra_man = {.closure_cmh2o = 74.0,
                                                .functional_mm = 50.0,
                                                .peak_part = 0.76,
                                                .plateau_share = 0.34,
                                                .speed_mm_s = 2.0,
                                                .puller_channel = true,
                                                .unmarked = true,
                                                .rest_pulls = 3,
                                                .transmission = {1.0, 0.96, 0.9}};

const struct plan plan_profile_man = {
    .type = PLAN_URETHRAL_PROFILE,
    .posture = PLAN_SUPINE,
    .pressure_hz = 20.0,
    .resting_pdet_cmh2o = 3.0,
    .urethra = &urethra_man,
};

static const struct plan_urethra urethra_within = {.closure_cmh2o = 61.0,
                                                   .functional_mm = 31.0,
                                                   .peak_part = 0.5,
                                                   .speed_mm_s = 1.0,
                                                   .puller_channel = true,
                                                   .rest_pulls = 2,
                                                   .stress_pulls = 1,
                                                   .cough_cmh2o = 55.0,
                                                   .cough_period_s = 5.5,
                                                   .transmission = {1.02, 0.9, 0.82}};

const struct plan plan_woman_with_profile = {
    .type = PLAN_PRESSURE_FLOW,
    .posture = PLAN_SITTING,
    .pressure_hz = 20.0,
    .flow_hz = 10.0,
    .emg_hz = 20.0,
    .emg_form = PLAN_EMG_ENVELOPE,
    .lesion = PLAN_LESION_NONE,
    .flow_delay_s = 0.6,
    .resting_pdet_cmh2o = 2.0,
    .filling = {.rate_ml_min = 60.0,
                .initial_ml = 10.0,
                .capacity_ml = 390.0,
                .compliance_ml_cmh2o = 75.0,
                .late_stiffness = 0.2,
                .first_sensation_ml = 150.0,
                .first_desire_ml = 225.0,
                .strong_desire_ml = 335.0,
                .manoeuvres = {{PLAN_COUGH, 260.0, 78.0, 0.0}, {PLAN_VALSALVA, 300.0, 52.0, 0.0}}},
    .voiding = {.residual_ml = 15.0,
                .qmax_ml_s = 20.0,
                .pdet_qmax_cmh2o = 27.0,
                .pmuo_cmh2o = 10.0,
                .opening_extra_cmh2o = 5.0,
                .yield_cmh2o_s_ml = 2.0,
                .rise_s = 9.0,
                .hesitancy_s = 4.0,
                .after_contraction_cmh2o = 34.0},
    .urethra = &urethra_within,
    .comment = "Triple lumen catheter; profile at capacity",
};
