#include "analysis/nomogram/nomogram.h"

#include "analysis/criteria.h"

#include <math.h>

static struct nomogram_answer refuse(const char *reason)
{
    return (struct nomogram_answer){.reason = reason};
}

/* Share of a normal distribution below z, in percent. */
static double centile_of(double z)
{
    return 50.0 * erfc(-z / sqrt(2.0));
}

static struct nomogram_answer answer(double z)
{
    return (struct nomogram_answer){.known = true, .z = z, .centile = centile_of(z)};
}

/* Expected flow of women, as its natural logarithm, and of men, as its square root. */
static double expected_of_women(double volume_ml)
{
    return CRITERIA_LIVERPOOL_WOMEN_BASE + CRITERIA_LIVERPOOL_WOMEN_SLOPE * log(volume_ml);
}

static double expected_of_men(double age_years, double volume_ml)
{
    return CRITERIA_LIVERPOOL_MEN_BASE + CRITERIA_LIVERPOOL_MEN_SLOPE * sqrt(volume_ml) -
           CRITERIA_LIVERPOOL_MEN_AGE * age_years;
}

static struct nomogram_answer for_women(double volume_ml, double qmax_ml_s)
{
    return answer((log(qmax_ml_s) - expected_of_women(volume_ml)) / CRITERIA_LIVERPOOL_WOMEN_SD);
}

static struct nomogram_answer for_men(double age_years, double volume_ml, double qmax_ml_s)
{
    const double expected = expected_of_men(age_years, volume_ml);

    if (!(expected > 0.0)) {
        return refuse("the nomogram expects no flow at this age and volume");
    }
    return answer((sqrt(qmax_ml_s) - expected) / CRITERIA_LIVERPOOL_MEN_SD);
}

double nomogram_liverpool_qmax(enum patient_sex sex, double age_years, double volume_ml, double z)
{
    if (!(volume_ml > 0.0) || (sex != SEX_FEMALE && sex != SEX_MALE)) {
        return (double)NAN;
    }
    if (sex == SEX_FEMALE) {
        return exp(expected_of_women(volume_ml) + z * CRITERIA_LIVERPOOL_WOMEN_SD);
    }
    const double root = expected_of_men(age_years, volume_ml) + z * CRITERIA_LIVERPOOL_MEN_SD;

    return root > 0.0 ? root * root : (double)NAN;
}

struct nomogram_answer nomogram_liverpool(enum patient_sex sex, double age_years, double volume_ml,
                                          double qmax_ml_s)
{
    if (sex != SEX_FEMALE && sex != SEX_MALE) {
        return refuse("the nomogram needs the patient's sex, female or male");
    }
    if (!(age_years >= 0.0)) {
        return refuse("the nomogram is for adults and the patient's age is unknown");
    }
    if (age_years < CRITERIA_ADULT_YEARS) {
        return refuse("the nomogram is for adults");
    }
    if (!(volume_ml >= CRITERIA_LIVERPOOL_VOLUME_MIN_ML &&
          volume_ml <= CRITERIA_LIVERPOOL_VOLUME_MAX_ML)) {
        return refuse("the voided volume is outside the nomogram (15 to 600 mL)");
    }
    if (!(qmax_ml_s > 0.0 && qmax_ml_s <= CRITERIA_LIVERPOOL_QMAX_MAX_ML_S)) {
        return refuse("the maximum flow is outside the nomogram (up to 70 mL/s)");
    }
    return sex == SEX_FEMALE ? for_women(volume_ml, qmax_ml_s)
                             : for_men(age_years, volume_ml, qmax_ml_s);
}
