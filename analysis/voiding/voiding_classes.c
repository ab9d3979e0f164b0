#include "analysis/voiding/voiding_classes.h"

#include "analysis/classify.h"
#include "analysis/criteria_voiding.h"
#include "analysis/measure.h"
#include "analysis/nomogram/nomogram_chart.h"

#include <math.h>
#include <string.h>

/* What a class rests on, by code; a measure that is not known leaves the class out. */
struct basis {
    const char *code;
    const struct measure *measure;
};

const char *voiding_class(const struct study *study, const char *code)
{
    const struct analysis_result *result = study->outcome.result;

    for (size_t i = 0; i < result->classification_count; i++) {
        if (strcmp(result->classifications[i].code, code) == 0) {
            return result->classifications[i].class;
        }
    }
    return NULL;
}

size_t voiding_limit(const struct study *study, const char *code, struct named_number *limits,
                     size_t count)
{
    const double value = choices_value(study->choices, code);

    if (isnan(value)) {
        return count;
    }
    limits[count] = (struct named_number){code, value};
    return count + 1;
}

static bool all_known(const struct basis *basis, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!measure_known(basis[i].measure)) {
            return false;
        }
    }
    return true;
}

/* Adds a class with its basis and the limits of the choices named. */
static void add(struct study *study, const char *code, const char *class, const char *method,
                const struct basis *basis, size_t basis_count, const char *const *limits,
                size_t limit_count)
{
    struct classification added = {.code = code, .class = class, .method = method};

    for (size_t i = 0; i < basis_count; i++) {
        added.basis[added.basis_count++] =
            (struct named_number){basis[i].code, basis[i].measure->value};
    }
    for (size_t i = 0; i < limit_count; i++) {
        added.limit_count = voiding_limit(study, limits[i], added.limits, added.limit_count);
    }
    outcome_classification(&study->outcome, added);
}

static const char *const obstruction_limits[] = {"obstruction_low", "obstruction_high"};
static const char *const contractility_limits[] = {"contractility_low", "contractility_high"};
static const char *const composite_limits[] = {"obstruction_low", "obstruction_high",
                                               "contractility_low", "contractility_high"};

/* The three classes of the composite nomogram: its two families alone, and both together. */
static void classify_men(struct study *study, const struct voiding_measures *measures)
{
    static const char *const strengths[] = {"weak", "normal", "strong"};
    const struct basis booi[] = {{"booi", &measures->booi}};
    const struct basis bci[] = {{"bci", &measures->bci}};
    const struct basis both[] = {booi[0], bci[0]};
    const double pdet = measures->pdet_qmax.value;
    const double qmax = measures->flow.qmax.value;
    struct nomogram_chart obstruction;
    struct nomogram_chart composite;

    if (!all_known(both, 2) ||
        !nomogram_chart(NOMOGRAM_ICS_OBSTRUCTION, study->choices, 0.0, &obstruction) ||
        !nomogram_chart(NOMOGRAM_COMPOSITE, study->choices, 0.0, &composite)) {
        return;
    }
    add(study, "ics_obstruction", nomogram_zone(&obstruction, qmax, pdet)->code,
        "Provisional ICS bands for men by BOOI = pdetQmax - 2*Qmax: above obstruction_high (40) "
        "obstructed, below obstruction_low (20) unobstructed, between them (both included) "
        "equivocal. Griffiths 1997, Neurourol Urodyn 16:1-18; Abrams 1999, BJU Int 84:14-15",
        booi, 1, obstruction_limits, 2);
    add(study, "contractility", strengths[nomogram_band(&composite, 1, qmax, pdet)],
        "Bands for men by BCI = pdetQmax + 5*Qmax: above contractility_high (150) strong, below "
        "contractility_low (100) weak, between them (both included) normal. Abrams 1999, BJU Int "
        "84:14-15; the limit of 150 from memory",
        bci, 1, contractility_limits, 2);
    add(study, "composite", nomogram_zone(&composite, qmax, pdet)->code,
        "Composite nomogram for men: the three bands by BOOI times the three by BCI. Abrams 1999, "
        "BJU Int 84:14-15; made for men over 50 years with presumed prostatic obstruction",
        both, 2, composite_limits, 4);
    add(study, "linear_purr_group", voiding_purr_group(measures->booi.value),
        "Groups of the linear urethral resistance relation by BOOI: below 20 grades 0 to I, 20 to "
        "40 grade II, above 40 grades III to VI; the grade within a group is not resolved. "
        "Schafer 1995, World J Urol 13:47-58, from memory",
        booi, 1, NULL, 0);
}

static void classify_ura(struct study *study, const struct voiding_measures *measures)
{
    static const char *const limits[] = {"ura_obstructed_men", "ura_obstructed_women"};
    const struct basis basis[] = {{"ura", &measures->ura}};
    const enum patient_sex sex = study->recording->sex;
    const bool woman = sex == SEX_FEMALE;

    if (!measure_known(&measures->ura) || (!woman && sex != SEX_MALE)) {
        return;
    }
    const double limit = choices_value(study->choices, limits[woman ? 1 : 0]);
    const bool obstructed = woman ? !classify_below(measures->ura.value, limit)
                                  : classify_above(measures->ura.value, limit);

    add(study, "ura_obstruction", obstructed ? "obstructed" : "not_obstructed",
        woman ? "URA at or above ura_obstructed_women (20 cmH2O) is obstructed. Mytilekas 2021, "
                "Int Neurourol J 25:244-251; the constant of URA from memory"
              : "URA above ura_obstructed_men (29 cmH2O) is obstructed. Griffiths 1989, Neurourol "
                "Urodyn 8:17-27, from memory",
        basis, 1, &limits[woman ? 1 : 0], 1);
}

static void classify_blaivas_groutz(struct study *study, const struct voiding_measures *measures)
{
    const struct optional_number free_qmax = study->recording->conditions.free_qmax_ml_s;
    struct nomogram_chart chart;

    if (!measure_known(&measures->female_booi) || !measure_known(&measures->pdet_max) ||
        !free_qmax.known || !(free_qmax.value > 0.0) ||
        !nomogram_chart(NOMOGRAM_BLAIVAS_GROUTZ, study->choices, 0.0, &chart)) {
        return;
    }
    const struct measure free_flow = measure_entered(free_qmax.value, NULL);
    const struct basis basis[] = {{"free_qmax", &free_flow}, {"pdet_max", &measures->pdet_max}};

    add(study, chart.code, nomogram_zone(&chart, free_qmax.value, measures->pdet_max.value)->code,
        classify_above(free_qmax.value, chart.x.to)
            ? "Zones by the maximum free flow and pdet.max; the free flow lies beyond the chart "
              "(50 mL/s), where the zones overlap. Blaivas and Groutz 2000, Neurourol Urodyn "
              "19:553-564, lines from memory"
            : "Zones by the maximum free flow and pdet.max: mild above Qmax + 7, moderate above "
              "57, severe above 107 cmH2O. Blaivas and Groutz 2000, Neurourol Urodyn 19:553-564, "
              "lines from memory",
        basis, 2, NULL, 0);
}

/* Cut-offs beside the nomogram: no rule for women is agreed on. */
static void classify_cut_offs(struct study *study, const struct voiding_measures *measures)
{
    const struct basis basis[] = {{"pdet_qmax", &measures->pdet_qmax},
                                  {"qmax", &measures->flow.qmax}};
    const double pdet = measures->pdet_qmax.value;
    const double qmax = measures->flow.qmax.value;
    const char *dybowski = voiding_dybowski(pdet, qmax);

    add(study, "chassagne", voiding_chassagne(pdet, qmax),
        "Cut-offs for women: obstructed when Qmax is 15 mL/s or less and pdetQmax above 20 cmH2O. "
        "Chassagne 1998, as a textbook quotes it",
        basis, 2, NULL, 0);
    add(study, "farrar", voiding_farrar(pdet, qmax),
        "Cut-offs for women: obstructed when Qmax is below 15 mL/s and pdetQmax above 50 cmH2O. "
        "Farrar, as a textbook quotes it",
        basis, 2, NULL, 0);
    if (dybowski != NULL) {
        add(study, "dybowski", dybowski,
            "Line for women with a Qmax of 12 mL/s or less: high pressure when pdetQmax is above "
            "1.5*Qmax + 10. Dybowski 2014, Arch Med Sci 10:752-756; to exclude obstruction",
            basis, 2, NULL, 0);
    }
}

static const char *pip1_class(const struct study *study, double pip1)
{
    if (classify_below(pip1, choices_value(study->choices, "pip1_low"))) {
        return "weak";
    }
    return classify_above(pip1, choices_value(study->choices, "pip1_high")) ? "strong" : "normal";
}

static void classify_women(struct study *study, const struct voiding_measures *measures)
{
    static const char *const female_limits[] = {"female_obstruction_likely",
                                                "female_obstruction_certain"};
    static const char *const pip1_limits[] = {"pip1_low", "pip1_high"};
    const struct basis booi[] = {{"female_booi", &measures->female_booi}};
    const struct basis pip1[] = {{"pip1", &measures->pip1}};
    struct nomogram_chart chart;

    if (!measure_known(&measures->female_booi) ||
        !nomogram_chart(NOMOGRAM_FEMALE_OBSTRUCTION, study->choices, 0.0, &chart)) {
        return;
    }
    add(study, chart.code,
        nomogram_zone(&chart, measures->flow.qmax.value, measures->pdet_qmax.value)->code,
        "Bands for women by pdetQmax - 2.2*Qmax: below 0 obstruction is unlikely (under 10 %), "
        "above female_obstruction_likely (5) likely (50 %), above female_obstruction_certain (18) "
        "almost certain (over 90 %); between 0 and 5 the authors name no class. Solomon 2018, "
        "Neurourol Urodyn 37:368-378",
        booi, 1, female_limits, 2);
    classify_blaivas_groutz(study, measures);
    classify_cut_offs(study, measures);
    add(study, "pip1_contractility", pip1_class(study, measures->pip1.value),
        "Bands for women by PIP1 = pdetQmax + Qmax: below pip1_low (30) weak, above pip1_high (75) "
        "strong, between them (both included) normal. Tan 2004, Neurourol Urodyn 23:184-189; the "
        "limit of 75 from memory",
        pip1, 1, pip1_limits, 2);
}

static void classify_underactivity(struct study *study, const struct voiding_measures *measures)
{
    static const char *const limits[] = {"female_obstruction_likely"};
    const struct measure *efficiency = &measures->flow.voiding_efficiency;
    const struct basis man[] = {
        {"bci", &measures->bci}, {"booi", &measures->booi}, {"voiding_efficiency", efficiency}};
    const struct basis woman[] = {{"pdet_qmax", &measures->pdet_qmax},
                                  {"qmax", &measures->flow.qmax},
                                  {"voiding_efficiency", efficiency},
                                  {"female_booi", &measures->female_booi}};

    if (all_known(man, 3)) {
        add(study, "underactivity",
            voiding_underactive_man(measures->bci.value, measures->booi.value, efficiency->value),
            "Men: BCI below 100, BOOI below 20 and voiding efficiency below 90 % together. Gammie "
            "2016, Eur Urol 69:361-369, from memory",
            man, 3, NULL, 0);
    } else if (all_known(woman, 4)) {
        const bool obstructed =
            classify_above(measures->female_booi.value,
                           choices_value(study->choices, "female_obstruction_likely"));

        add(study, "underactivity",
            voiding_underactive_woman(measures->pdet_qmax.value, measures->flow.qmax.value,
                                      efficiency->value, obstructed),
            "Women: pdetQmax below 20 cmH2O, Qmax below 15 mL/s and voiding efficiency below 90 % "
            "together, with obstruction not likely (female BOOI). Gammie 2016, Eur Urol "
            "69:361-369, from memory",
            woman, 4, limits, 1);
    }
}

/* No limit is agreed: these have a class only where the clinic chose one. */
static void classify_by_clinic(struct study *study, const struct voiding_measures *measures)
{
    const struct {
        const char *code;
        const char *limit;
        const char *method;
        struct basis basis;
    } rows[] = {{"voiding_efficiency",
                 "voiding_efficiency_low",
                 "Voiding efficiency below the clinic's own limit is low; 80 and 90 % are both in "
                 "use, and none is agreed",
                 {"voiding_efficiency", &measures->flow.voiding_efficiency}},
                {"watts_factor",
                 "watts_factor_low",
                 "Maximum Watts factor below the clinic's own limit is low; none is agreed. "
                 "Griffiths 1986, Am J Physiol 251:R225-R230, constants from memory",
                 {"watts_factor_max", &measures->watts_factor_max}}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double limit = choices_value(study->choices, rows[i].limit);

        if (isfinite(limit) && measure_known(rows[i].basis.measure)) {
            add(study, rows[i].code,
                classify_below(rows[i].basis.measure->value, limit) ? "low" : "not_low",
                rows[i].method, &rows[i].basis, 1, &rows[i].limit, 1);
        }
    }
}

void voiding_classify(struct study *study, const struct voiding_measures *measures)
{
    if (study->voiding_is_involuntary) {
        return;
    }
    classify_men(study, measures);
    classify_women(study, measures);
    classify_ura(study, measures);
    classify_underactivity(study, measures);
    classify_by_clinic(study, measures);
}
