/* The lines and zones of every nomogram, as a table. */
#include "analysis/criteria.h"
#include "analysis/criteria_voiding.h"
#include "analysis/nomogram/nomogram_chart.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* A line as it stands in the table: its level is a number, or that of a choice. */
struct line_row {
    const char *code; /* a choice's code when `chosen` */
    const char *label;
    enum nomogram_shape shape;
    unsigned family;
    bool chosen;
    bool above_owns;
    double slope;
    double level;
    double centile;
};

struct chart_row {
    const char *code;
    const char *title;
    const char *source;
    const char *mark;
    struct nomogram_axis x;
    struct nomogram_axis y;
    size_t family_count;
    size_t line_count;
    const struct line_row *lines;
    size_t zone_count;
    const struct nomogram_zone *zones;
};

static const struct line_row obstruction_lines[] = {
    {"obstruction_low", "Unobstructed below", NOMOGRAM_STRAIGHT, 0, true, true, CRITERIA_BOOI_SLOPE,
     0.0, 0.0},
    {"obstruction_high", "Obstructed above", NOMOGRAM_STRAIGHT, 0, true, false, CRITERIA_BOOI_SLOPE,
     0.0, 0.0},
};

static const struct nomogram_zone obstruction_zones[] = {
    {"unobstructed", "Unobstructed"}, {"equivocal", "Equivocal"}, {"obstructed", "Obstructed"}};

static const struct line_row composite_lines[] = {
    {"obstruction_low", "Unobstructed below", NOMOGRAM_STRAIGHT, 0, true, true, CRITERIA_BOOI_SLOPE,
     0.0, 0.0},
    {"obstruction_high", "Obstructed above", NOMOGRAM_STRAIGHT, 0, true, false, CRITERIA_BOOI_SLOPE,
     0.0, 0.0},
    {"contractility_low", "Weak below", NOMOGRAM_STRAIGHT, 1, true, true, -CRITERIA_BCI_SLOPE, 0.0,
     0.0},
    {"contractility_high", "Strong above", NOMOGRAM_STRAIGHT, 1, true, false, -CRITERIA_BCI_SLOPE,
     0.0, 0.0},
};

static const struct nomogram_zone composite_zones[] = {
    {"unobstructed_weak", "Unobstructed, weak"},
    {"unobstructed_normal", "Unobstructed, normal"},
    {"unobstructed_strong", "Unobstructed, strong"},
    {"equivocal_weak", "Equivocal, weak"},
    {"equivocal_normal", "Equivocal, normal"},
    {"equivocal_strong", "Equivocal, strong"},
    {"obstructed_weak", "Obstructed, weak"},
    {"obstructed_normal", "Obstructed, normal"},
    {"obstructed_strong", "Obstructed, strong"},
};

static const struct line_row female_lines[] = {
    {"female_obstruction_unlikely", "Unlikely below", NOMOGRAM_STRAIGHT, 0, false, true,
     CRITERIA_BOOIF_SLOPE, CRITERIA_BOOIF_UNLIKELY, 0.0},
    {"female_obstruction_likely", "Likely above", NOMOGRAM_STRAIGHT, 0, true, false,
     CRITERIA_BOOIF_SLOPE, 0.0, 0.0},
    {"female_obstruction_certain", "Almost certain above", NOMOGRAM_STRAIGHT, 0, true, false,
     CRITERIA_BOOIF_SLOPE, 0.0, 0.0},
};

static const struct nomogram_zone female_zones[] = {{"unlikely", "Unlikely"},
                                                    {"indeterminate", "Indeterminate"},
                                                    {"likely", "Likely"},
                                                    {"almost_certain", "Almost certain"}};

static const struct line_row blaivas_groutz_lines[] = {
    {"blaivas_groutz_mild", "Mild above", NOMOGRAM_STRAIGHT, 0, false, false, CRITERIA_BG_SLOPE,
     CRITERIA_BG_MILD, 0.0},
    {"blaivas_groutz_moderate", "Moderate above", NOMOGRAM_STRAIGHT, 0, false, false, 0.0,
     CRITERIA_BG_MODERATE, 0.0},
    {"blaivas_groutz_severe", "Severe above", NOMOGRAM_STRAIGHT, 0, false, false, 0.0,
     CRITERIA_BG_SEVERE, 0.0},
};

static const struct nomogram_zone blaivas_groutz_zones[] = {{"none", "No obstruction"},
                                                            {"mild", "Mild obstruction"},
                                                            {"moderate", "Moderate obstruction"},
                                                            {"severe", "Severe obstruction"}};

/* Standard scores of the centiles: quantiles of the normal distribution. */
#define CENTILES(shape)                                                                            \
    {"centile_5", "5th centile", (shape), 0, false, true, 0.0, -1.6448536269514722, 5.0},          \
        {"centile_10", "10th centile", (shape), 0, false, true, 0.0, -1.2815515655446004, 10.0},   \
        {"centile_25", "25th centile", (shape), 0, false, true, 0.0, -0.6744897501960817, 25.0},   \
        {"centile_50", "50th centile", (shape), 0, false, true, 0.0, 0.0, 50.0},                   \
        {"centile_75", "75th centile", (shape), 0, false, true, 0.0, 0.6744897501960817, 75.0},    \
        {"centile_90", "90th centile", (shape), 0, false, true, 0.0, 1.2815515655446004, 90.0},    \
        {"centile_95", "95th centile", (shape), 0, false, true, 0.0, 1.6448536269514722, 95.0},

static const struct line_row women_lines[] = {CENTILES(NOMOGRAM_CENTILE_WOMEN)};
static const struct line_row men_lines[] = {CENTILES(NOMOGRAM_CENTILE_MEN)};

static const struct nomogram_zone centile_zones[] = {
    {"below_5", "Below the 5th centile"}, {"5_to_10", "5th to 10th centile"},
    {"10_to_25", "10th to 25th centile"}, {"25_to_50", "25th to 50th centile"},
    {"50_to_75", "50th to 75th centile"}, {"75_to_90", "75th to 90th centile"},
    {"90_to_95", "90th to 95th centile"}, {"above_95", "Above the 95th centile"}};

#define FLOW_AXIS(most)                                                                            \
    {                                                                                              \
        "Qmax", "Maximum flow while pressure was measured", "mL/s", 0.0, (most)                    \
    }
#define PRESSURE_AXIS(most)                                                                        \
    {                                                                                              \
        "pdetQmax", "Detrusor pressure at maximum flow", "cm[H2O]", 0.0, (most)                    \
    }
#define VOLUME_AXIS                                                                                \
    {                                                                                              \
        "VV", "Voided volume", "mL", CRITERIA_LIVERPOOL_VOLUME_MIN_ML,                             \
            CRITERIA_LIVERPOOL_VOLUME_MAX_ML                                                       \
    }
#define FREE_FLOW_AXIS(most)                                                                       \
    {                                                                                              \
        "Qmax", "Maximum free flow", "mL/s", 0.0, (most)                                           \
    }
#define LINES(array) COUNT(array), (array)

static const struct chart_row charts[NOMOGRAM_COUNT] = {
    [NOMOGRAM_ICS_OBSTRUCTION] = {"ics_obstruction", "Provisional ICS nomogram (men)",
                                  "Griffiths D et al. (ICS). Neurourol Urodyn 1997;16:1-18",
                                  "upper line read, lower line read in a secondary source",
                                  FLOW_AXIS(CRITERIA_CHART_QMAX_ML_S),
                                  PRESSURE_AXIS(CRITERIA_CHART_PDET_CMH2O), 1,
                                  LINES(obstruction_lines), LINES(obstruction_zones)},
    [NOMOGRAM_COMPOSITE] = {"composite", "Composite nomogram (men)",
                            "Abrams P. BJU Int 1999;84:14-15",
                            "the line of strong contraction from memory",
                            FLOW_AXIS(CRITERIA_CHART_QMAX_ML_S),
                            PRESSURE_AXIS(CRITERIA_CHART_PDET_CMH2O), 2, LINES(composite_lines),
                            LINES(composite_zones)},
    [NOMOGRAM_FEMALE_OBSTRUCTION] = {"female_obstruction", "Solomon-Greenwell nomogram (women)",
                                     "Solomon E et al. Neurourol Urodyn 2018;37:368-378",
                                     "read in the abstract",
                                     FLOW_AXIS(CRITERIA_CHART_FEMALE_QMAX_ML_S),
                                     PRESSURE_AXIS(CRITERIA_CHART_FEMALE_PDET_CMH2O), 1,
                                     LINES(female_lines), LINES(female_zones)},
    [NOMOGRAM_BLAIVAS_GROUTZ] = {"blaivas_groutz",
                                 "Blaivas-Groutz nomogram (women)",
                                 "Blaivas JG, Groutz A. Neurourol Urodyn 2000;19:553-564",
                                 "zones read in the abstract, lines from memory",
                                 FREE_FLOW_AXIS(CRITERIA_BG_QMAX_MAX_ML_S),
                                 {"pdet.max", "Maximum detrusor pressure", "cm[H2O]", 0.0,
                                  CRITERIA_CHART_PDET_CMH2O},
                                 1,
                                 LINES(blaivas_groutz_lines),
                                 LINES(blaivas_groutz_zones)},
    [NOMOGRAM_LIVERPOOL_WOMEN] = {"liverpool_women", "Liverpool nomogram (women)",
                                  "Haylen BT et al. Br J Urol 1989;64:30-38",
                                  "coefficients from memory, unconfirmed", VOLUME_AXIS,
                                  FREE_FLOW_AXIS(CRITERIA_LIVERPOOL_QMAX_MAX_ML_S), 1,
                                  LINES(women_lines), LINES(centile_zones)},
    [NOMOGRAM_LIVERPOOL_MEN] = {"liverpool_men", "Liverpool nomogram (men)",
                                "Haylen BT et al. Br J Urol 1989;64:30-38",
                                "coefficients from memory, unconfirmed", VOLUME_AXIS,
                                FREE_FLOW_AXIS(CRITERIA_LIVERPOOL_QMAX_MAX_ML_S), 1,
                                LINES(men_lines), LINES(centile_zones)},
};

static struct nomogram_line line_in_use(const struct line_row *row,
                                        const struct analysis_choices *choices)
{
    return (struct nomogram_line){.code = row->code,
                                  .label = row->label,
                                  .shape = row->shape,
                                  .family = row->family,
                                  .above_owns = row->above_owns,
                                  .slope = row->slope,
                                  .level =
                                      row->chosen ? choices_value(choices, row->code) : row->level,
                                  .centile = row->centile};
}

bool nomogram_chart(enum nomogram_code code, const struct analysis_choices *choices,
                    double age_years, struct nomogram_chart *ret_chart)
{
    if ((unsigned)code >= NOMOGRAM_COUNT ||
        (code == NOMOGRAM_LIVERPOOL_MEN && !(age_years >= CRITERIA_ADULT_YEARS))) {
        return false;
    }
    const struct chart_row *row = &charts[code];

    *ret_chart = (struct nomogram_chart){.code = row->code,
                                         .title = row->title,
                                         .source = row->source,
                                         .mark = row->mark,
                                         .x = row->x,
                                         .y = row->y,
                                         .age_years = age_years,
                                         .family_count = row->family_count,
                                         .line_count = row->line_count,
                                         .zone_count = row->zone_count,
                                         .zones = row->zones};
    for (size_t i = 0; i < row->line_count; i++) {
        ret_chart->lines[i] = line_in_use(&row->lines[i], choices);
    }
    return true;
}

/* Whom each is for. */
static const enum patient_sex sexes[NOMOGRAM_COUNT] = {
    [NOMOGRAM_ICS_OBSTRUCTION] = SEX_MALE,      [NOMOGRAM_COMPOSITE] = SEX_MALE,
    [NOMOGRAM_FEMALE_OBSTRUCTION] = SEX_FEMALE, [NOMOGRAM_BLAIVAS_GROUTZ] = SEX_FEMALE,
    [NOMOGRAM_LIVERPOOL_WOMEN] = SEX_FEMALE,    [NOMOGRAM_LIVERPOOL_MEN] = SEX_MALE,
};

bool nomogram_is_for(enum nomogram_code code, enum patient_sex sex, double age_years)
{
    const bool is_child = age_years >= 0.0 && age_years < CRITERIA_ADULT_YEARS;

    return !is_child && sexes[code] == sex;
}
