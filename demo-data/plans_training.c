/* Pelvic floor trainings: one woman over four visits, and one with a pressure probe. */
#include "plan.h"
#include "plan_training.h"

static const struct plan_training training_first = {.sensor = PLAN_TRAINING_EMG,
                                                    .rest = 5.2,
                                                    .quick_rise = 17.0,
                                                    .long_rise = 12.5,
                                                    .hold_s = 4.0,
                                                    .quick_count = 6,
                                                    .quick_period_s = 3.2,
                                                    .long_count = 6,
                                                    .work_s = 10.0,
                                                    .rest_s = 10.0,
                                                    .endurance_s = 30.0,
                                                    .missed = 1};

const struct plan plan_training_first = {
    .type = PLAN_TRAINING,
    .posture = PLAN_SUPINE,
    .emg_hz = 20.0,
    .emg_form = PLAN_EMG_ENVELOPE,
    .training = &training_first,
    .comment = "First session, tires early",
};

static const struct plan_training training_second = {.sensor = PLAN_TRAINING_EMG,
                                                     .rest = 4.7,
                                                     .quick_rise = 21.0,
                                                     .long_rise = 16.0,
                                                     .hold_s = 5.6,
                                                     .quick_count = 8,
                                                     .quick_period_s = 2.9,
                                                     .long_count = 8,
                                                     .work_s = 10.0,
                                                     .rest_s = 10.0,
                                                     .endurance_s = 30.0,
                                                     .missed = 1};

const struct plan plan_training_second = {
    .type = PLAN_TRAINING,
    .posture = PLAN_SUPINE,
    .emg_hz = 20.0,
    .emg_form = PLAN_EMG_ENVELOPE,
    .training = &training_second,
};

static const struct plan_training training_third = {.sensor = PLAN_TRAINING_EMG,
                                                    .rest = 4.1,
                                                    .quick_rise = 27.0,
                                                    .long_rise = 21.0,
                                                    .hold_s = 8.0,
                                                    .quick_count = 10,
                                                    .quick_period_s = 2.5,
                                                    .long_count = 8,
                                                    .work_s = 10.0,
                                                    .rest_s = 10.0,
                                                    .endurance_s = 30.0};

const struct plan plan_training_third = {
    .type = PLAN_TRAINING,
    .posture = PLAN_SUPINE,
    .emg_hz = 20.0,
    .emg_form = PLAN_EMG_ENVELOPE,
    .training = &training_third,
};

static const struct plan_training training_fourth = {.sensor = PLAN_TRAINING_EMG,
                                                     .rest = 3.8,
                                                     .quick_rise = 32.0,
                                                     .long_rise = 26.0,
                                                     .hold_s = 12.0,
                                                     .quick_count = 10,
                                                     .quick_period_s = 2.2,
                                                     .long_count = 10,
                                                     .work_s = 10.0,
                                                     .rest_s = 10.0,
                                                     .endurance_s = 30.0};

const struct plan plan_training_fourth = {
    .type = PLAN_TRAINING,
    .posture = PLAN_SUPINE,
    .emg_hz = 20.0,
    .emg_form = PLAN_EMG_ENVELOPE,
    .training = &training_fourth,
    .comment = "Holds ten seconds, ten times",
};

static const struct plan_training training_pressure = {.sensor = PLAN_TRAINING_PRESSURE,
                                                       .rest = 24.0,
                                                       .quick_rise = 31.0,
                                                       .long_rise = 26.0,
                                                       .hold_s = 7.0,
                                                       .quick_count = 8,
                                                       .quick_period_s = 3.0,
                                                       .long_count = 8,
                                                       .work_s = 8.0,
                                                       .rest_s = 12.0,
                                                       .missed = 2,
                                                       .abdomen_cmh2o = 22.0};

const struct plan plan_training_pressure = {
    .type = PLAN_TRAINING,
    .posture = PLAN_SUPINE,
    .pressure_hz = 20.0,
    .training = &training_pressure,
    .comment = "Belly helps along; asked to breathe on",
};
