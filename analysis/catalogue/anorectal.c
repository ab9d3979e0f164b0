#include "analysis/catalogue/sections.h"
#include "analysis/catalogue/sources.h"

/* Bits SIGNAL_PANAL to SIGNAL_PANAL12: a doubt about any sensor is one about the pressure. */
#define ANAL_SIGNALS                                                                               \
    ((CATALOGUE_SIGNAL(PANAL12) | (CATALOGUE_SIGNAL(PANAL12) - 1u)) &                              \
     ~(CATALOGUE_SIGNAL(PANAL) - 1u))
#define RECTAL_SIGNALS (ANAL_SIGNALS | CATALOGUE_SIGNAL(PRECT))
#define IAPWG          "Carrington EV et al. (IAPWG). Neurogastroenterol Motil 2020;32:e13679, from memory"
#define RAO_2008       "Rao SSC. Gastroenterol Clin North Am 2008;37:569-586"

static const struct catalogue_row rows[] = {
    {"anorectal", "resting_pressure", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Anal resting pressure",
     "Mean over 60 s of rest of the highest at each instant of the sensors in the anal "
     "high-pressure zone (at rest more than 5 mmHg above the rectum), artefacts cut; over the "
     "longest quiet stretch when there is no longer one.",
     IAPWG, offsetof(struct anorectal_measures, resting_pressure), ANAL_SIGNALS},
    {"anorectal", "squeeze_increment", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Squeeze increment",
     "Greatest rise of all short squeezes: highest 0.5 s mean of the anal pressure minus the "
     "median of the 5 s just before.",
     IAPWG, offsetof(struct anorectal_measures, squeeze_increment), ANAL_SIGNALS},
    {"anorectal", "squeeze_pressure_max", CATALOGUE_NUMBER, "mm[Hg]", 1.0,
     "Maximum squeeze pressure",
     "Highest 0.5 s mean of the anal pressure in the squeeze with the greatest rise.", IAPWG,
     offsetof(struct anorectal_measures, squeeze_pressure_max), ANAL_SIGNALS},
    {"anorectal", "squeeze_duration", CATALOGUE_NUMBER, "s", 0.1, "Squeeze duration",
     "Time above half of its rise, of the squeeze with the greatest rise.", COMMON_PRACTICE,
     offsetof(struct anorectal_measures, squeeze_duration), ANAL_SIGNALS},
    {"anorectal", "long_squeeze_endurance", CATALOGUE_NUMBER, "s", 0.1, "Squeeze endurance",
     "Time for which the anal pressure of the long squeeze stays above half of its greatest rise, "
     "up to 30 s; dips shorter than 1 s do not end it.",
     IAPWG, offsetof(struct anorectal_measures, long_squeeze_endurance), ANAL_SIGNALS},
    {"anorectal", "cough_increment", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Anal cough increment",
     "Greatest anal rise of all coughs: peak minus the median of the 5 s just before.", IAPWG,
     offsetof(struct anorectal_measures, cough_increment), ANAL_SIGNALS},
    {"anorectal", "cough_gradient", CATALOGUE_NUMBER, "mm[Hg]", 1.0,
     "Anal minus rectal pressure at coughs",
     "Anal minus rectal pressure at the rectal peak of a cough, at the same instant; the lowest of "
     "all coughs. It should stay above zero.",
     IAPWG, offsetof(struct anorectal_measures, cough_gradient), RECTAL_SIGNALS},
    {"anorectal", "push_rectal_rise", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Rectal rise while pushing",
     "Highest 1 s mean of the rectal pressure minus the median of the 5 s just before, of the push "
     "with the best rectoanal gradient.",
     IAPWG, offsetof(struct anorectal_measures, push_rectal_rise), CATALOGUE_SIGNAL(PRECT)},
    {"anorectal", "push_anal_residual", CATALOGUE_NUMBER, "mm[Hg]", 1.0,
     "Anal residual pressure while pushing",
     "Lowest 1 s mean of the anal pressure during the same push, without its first and last "
     "second.",
     IAPWG, offsetof(struct anorectal_measures, push_anal_residual), ANAL_SIGNALS},
    {"anorectal", "push_anal_relaxation", CATALOGUE_NUMBER, "%", 1.0,
     "Anal relaxation while pushing",
     "Fall from the resting to the residual pressure in % of the resting pressure; negative is a "
     "paradoxical contraction.",
     IAPWG, offsetof(struct anorectal_measures, push_anal_relaxation), ANAL_SIGNALS},
    {"anorectal", "rectoanal_gradient", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Rectoanal gradient",
     "Rectal minus anal pressure (1 s means of the same instant) at the best instant of all "
     "pushes.",
     "Ratuapli SK et al. Neurogastroenterol Motil 2013;25:e813-e820",
     offsetof(struct anorectal_measures, rectoanal_gradient), RECTAL_SIGNALS},
    {"anorectal", "defecation_index", CATALOGUE_NUMBER, "1", 0.1, "Defecation index",
     "Highest rectal over lowest anal pressure (1 s means) of the same push.",
     RAO_2008 ", from memory", offsetof(struct anorectal_measures, defecation_index),
     RECTAL_SIGNALS},
    {"anorectal", "rair", CATALOGUE_WORD, NULL, 1.0, "Rectoanal inhibitory reflex",
     "present: the anal pressure falls by the percentage chosen after a fast inflation, and "
     "returns; absent: it does not up to at least 240 mL, with contact shown; else "
     "not_assessable. volume_ml: the smallest that shows it, else the largest tried.",
     IAPWG, offsetof(struct anorectal_measures, rair), ANAL_SIGNALS},
    {"anorectal", "first_sensation_volume", CATALOGUE_NUMBER, "mL", 1.0,
     "Volume at first constant sensation", "Volume of the balloon at the first_sensation marker.",
     IAPWG, offsetof(struct anorectal_measures, first_sensation_volume), CATALOGUE_SIGNAL(BALLOON)},
    {"anorectal", "desire_volume", CATALOGUE_NUMBER, "mL", 1.0, "Volume at desire to defecate",
     "Volume of the balloon at the first_desire marker.", IAPWG,
     offsetof(struct anorectal_measures, desire_volume), CATALOGUE_SIGNAL(BALLOON)},
    {"anorectal", "maximum_tolerated_volume", CATALOGUE_NUMBER, "mL", 1.0,
     "Maximum tolerated volume", "Volume of the balloon at the pain marker, else at filling_stop.",
     IAPWG, offsetof(struct anorectal_measures, maximum_tolerated_volume),
     CATALOGUE_SIGNAL(BALLOON)},
    {"anorectal", "rectal_compliance", CATALOGUE_NUMBER, "mL/mm[Hg]", 0.1, "Rectal compliance",
     "Inverse slope of the straight line of rectal pressure over balloon volume during the slow "
     "inflation; the balloon's own elasticity is not subtracted.",
     COMMON_PRACTICE, offsetof(struct anorectal_measures, rectal_compliance),
     CATALOGUE_SIGNAL(PRECT) | CATALOGUE_SIGNAL(BALLOON)},
    {"anorectal", "functional_canal_length", CATALOGUE_NUMBER, "mm", 1.0,
     "Functional length of the anal canal",
     "Length over which the anal pressure at rest is more than 5 mmHg above the rectal one, by "
     "pull-through or between sensors of known spacing (panal1 is the outermost).",
     "a review of high-resolution anorectal manometry",
     offsetof(struct anorectal_measures, functional_canal_length), RECTAL_SIGNALS},
    {"anorectal", "balloon_expulsion_time", CATALOGUE_NUMBER, "s", 1.0, "Balloon expulsion time",
     "As entered.", "Ratuapli SK et al. Neurogastroenterol Motil 2013;25:e813-e820",
     offsetof(struct anorectal_measures, balloon_expulsion_time), 0},
};

#define MANOEUVRE(member) offsetof(struct anorectal_manoeuvre, member)

static const struct catalogue_column manoeuvre_columns[] = {
    {"kind", CATALOGUE_WORD, NULL, 1.0, "Manoeuvre", MANOEUVRE(kind)},
    {"start_s", CATALOGUE_NUMBER, "s", 0.1, "Start", MANOEUVRE(start_s)},
    {"end_s", CATALOGUE_NUMBER, "s", 0.1, "End", MANOEUVRE(end_s)},
    {"anal_rest", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Anal pressure just before",
     MANOEUVRE(anal_rest_mmhg)},
    {"anal_peak", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Anal peak", MANOEUVRE(anal_peak_mmhg)},
    {"anal_lowest", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Lowest anal pressure",
     MANOEUVRE(anal_lowest_mmhg)},
    {"rectal_rise", CATALOGUE_NUMBER, "mm[Hg]", 1.0, "Rectal rise", MANOEUVRE(rectal_rise_mmhg)},
    {"volume_ml", CATALOGUE_NUMBER, "mL", 1.0, "Balloon volume", MANOEUVRE(volume_ml)},
    {"change_percent", CATALOGUE_NUMBER, "%", 1.0, "Anal relaxation", MANOEUVRE(change_percent)},
};

static const struct catalogue_list lists[] = {
    {"manoeuvres", "Manoeuvres",
     "Each squeeze, long squeeze, cough, push and fast inflation, by its marker or found without.",
     COMMON_PRACTICE, offsetof(struct anorectal_measures, manoeuvres),
     sizeof(struct anorectal_manoeuvre), sizeof manoeuvre_columns / sizeof manoeuvre_columns[0],
     manoeuvre_columns},
};

const struct catalogue_section catalogue_anorectal = {
    .code = "anorectal",
    .label = "Anorectal manometry",
    .row_count = sizeof rows / sizeof rows[0],
    .rows = rows,
    .list_count = sizeof lists / sizeof lists[0],
    .lists = lists,
};
