/* Anorectal manometries. Values lie within what is quoted for orientation (rest 40 to 80 mmHg,
 * squeeze increment of women above 50 and of men above 100 mmHg, canal 25 to 50 mm; from memory),
 * or outside of it where that is the point. */
#include "plan.h"
#include "plan_anorectum.h"

static const struct plan_anorectum anorectum_normal = {
    .sensors = 8,
    .spacing_mm = 6.0,
    .canal_mm = 34.0,
    .rest_mmhg = 66.0,
    .rectum_mmhg = 7.0,
    .squeeze_mmhg = 82.0,
    .long_mmhg = 76.0,
    .long_fatigue_s = 34.0,
    .cough_mmhg = 48.0,
    .cough_anal_mmhg = 74.0,
    .push_rectal_mmhg = 54.0,
    .push_share = 0.58,
    .inflations_ml = {10.0, 20.0, 30.0, 40.0, 60.0},
    .reflex_share = 0.62,
    .reflex_from_ml = 12.0,
    .fill_ml_s = 1.5,
    .first_ml = 32.0,
    .desire_ml = 88.0,
    .tolerated_ml = 186.0,
    .compliance_ml_mmhg = 7.5,
    .balloon_line = true,
    .expulsion_s = 24.0,
};

const struct plan plan_anorectal_normal = {
    .type = PLAN_ANORECTAL,
    .posture = PLAN_LEFT_LATERAL,
    .pressure_hz = 20.0,
    .format = PLAN_INT16,
    .anorectum = &anorectum_normal,
    .comment = "Balloon expelled in private, seated",
};

static const struct plan_anorectum anorectum_weak = {
    .sensors = 8,
    .spacing_mm = 6.0,
    .canal_mm = 24.0,
    .rest_mmhg = 27.0,
    .rectum_mmhg = 8.0,
    .squeeze_mmhg = 24.0,
    .long_mmhg = 20.0,
    .long_fatigue_s = 11.0,
    .cough_mmhg = 44.0,
    .cough_anal_mmhg = 30.0,
    .push_rectal_mmhg = 46.0,
    .push_share = 0.65,
    .inflations_ml = {20.0, 30.0, 40.0, 50.0},
    .reflex_share = 0.52,
    .reflex_from_ml = 14.0,
    .fill_ml_s = 1.0,
    .first_ml = 20.0,
    .desire_ml = 44.0,
    .tolerated_ml = 84.0,
    .compliance_ml_mmhg = 6.0,
    .balloon_line = true,
    .expulsion_s = 12.0,
};

const struct plan plan_anorectal_weak = {
    .type = PLAN_ANORECTAL,
    .posture = PLAN_LEFT_LATERAL,
    .pressure_hz = 20.0,
    .format = PLAN_INT16,
    .anorectum = &anorectum_weak,
    .comment = "Defect of the outer sphincter on ultrasound",
};

static const struct plan_anorectum anorectum_paradox = {
    .sensors = 1,
    .canal_mm = 38.0,
    .rest_mmhg = 106.0,
    .rectum_mmhg = 9.0,
    .squeeze_mmhg = 128.0,
    .long_mmhg = 112.0,
    .long_fatigue_s = 40.0,
    .cough_mmhg = 55.0,
    .cough_anal_mmhg = 92.0,
    .push_rectal_mmhg = 49.0,
    .push_share = 1.26,
    .inflations_ml = {20.0, 30.0, 40.0, 60.0},
    .reflex_share = 0.56,
    .reflex_from_ml = 13.0,
    .fill_ml_s = 1.5,
    .first_ml = 42.0,
    .desire_ml = 112.0,
    .tolerated_ml = 215.0,
    .compliance_ml_mmhg = 8.5,
    .pull_through = true,
    .expulsion_s = 175.0,
};

const struct plan plan_anorectal_paradox = {
    .type = PLAN_ANORECTAL,
    .posture = PLAN_LEFT_LATERAL,
    .pressure_hz = 20.0,
    .anorectum = &anorectum_paradox,
    .comment = "Tightens when asked to push, each time",
};

static const struct plan_anorectum anorectum_no_reflex = {
    .sensors = 8,
    .spacing_mm = 5.0,
    .canal_mm = 28.0,
    .rest_mmhg = 68.0,
    .rectum_mmhg = 8.0,
    .squeeze_mmhg = 70.0,
    .long_mmhg = 62.0,
    .long_fatigue_s = 22.0,
    .cough_mmhg = 40.0,
    .cough_anal_mmhg = 62.0,
    .push_rectal_mmhg = 47.0,
    .push_share = 0.88,
    .inflations_ml = {20.0, 40.0, 60.0, 100.0, 150.0, 200.0, 250.0},
    .fill_ml_s = 1.5,
    .first_ml = 55.0,
    .desire_ml = 130.0,
    .tolerated_ml = 240.0,
    .compliance_ml_mmhg = 12.0,
    .expulsion_s = 120.0,
};

const struct plan plan_anorectal_no_reflex = {
    .type = PLAN_ANORECTAL,
    .posture = PLAN_LEFT_LATERAL,
    .pressure_hz = 20.0,
    .format = PLAN_INT16,
    .anorectum = &anorectum_no_reflex,
    .comment = "No relaxation up to 250 mL",
};

static const struct plan_anorectum anorectum_insensitive = {
    .sensors = 8,
    .spacing_mm = 6.0,
    .canal_mm = 31.0,
    .rest_mmhg = 52.0,
    .rectum_mmhg = 6.0,
    .squeeze_mmhg = 61.0,
    .long_mmhg = 54.0,
    .long_fatigue_s = 24.0,
    .cough_mmhg = 42.0,
    .cough_anal_mmhg = 60.0,
    .push_rectal_mmhg = 30.0,
    .push_share = 0.7,
    .inflations_ml = {30.0, 50.0, 80.0, 120.0},
    .reflex_share = 0.5,
    .reflex_from_ml = 28.0,
    .fill_ml_s = 2.0,
    .first_ml = 135.0,
    .desire_ml = 240.0,
    .tolerated_ml = 365.0,
    .compliance_ml_mmhg = 17.0,
    .balloon_line = true,
    .expulsion_s = 95.0,
};

const struct plan plan_anorectal_insensitive = {
    .type = PLAN_ANORECTAL,
    .posture = PLAN_LEFT_LATERAL,
    .pressure_hz = 20.0,
    .format = PLAN_INT16,
    .anorectum = &anorectum_insensitive,
};
