#include "letter/words.h"

#include "base/clock.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

static const struct letter_words LANGUAGES[] = {
    {
        .language = "en",
        .preliminary = "Preliminary",
        .letter = "Letter",
        .about = "Letter about ",
        .born = "born ",
        .doubtful = "doubtful",
        .caution = "These numbers were computed from what was uploaded. They support clinical "
                   "judgement and do not replace it. Local protocols and licensed practice decide.",
        .female = "female",
        .male = "male",
        .other_sex = "other",
        .months = {"January", "February", "March", "April", "May", "June", "July", "August",
                   "September", "October", "November", "December"},
        .decimal_sign = '.',
    },
    {
        .language = "de",
        .preliminary = "Vorläufig",
        .letter = "Brief",
        .about = "Brief über ",
        .born = "geb. ",
        .doubtful = "fraglich",
        .caution = "Diese Werte wurden aus den übertragenen Messungen berechnet. Sie unterstützen "
                   "das ärztliche Urteil und ersetzen es nicht. Es gelten die örtlichen Vorgaben.",
        .female = "weiblich",
        .male = "männlich",
        .other_sex = "divers",
        .months = {"Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August",
                   "September", "Oktober", "November", "Dezember"},
        .decimal_sign = ',',
    },
};

const struct letter_words *letter_words_find(const char *language)
{
    for (size_t i = 0; i < sizeof LANGUAGES / sizeof LANGUAGES[0]; i++) {
        if (strcmp(LANGUAGES[i].language, language) == 0) {
            return &LANGUAGES[i];
        }
    }
    return NULL;
}

static bool is_german(const struct letter_words *words)
{
    return strcmp(words->language, "de") == 0;
}

const char *letter_words_kind(const struct letter_words *words, const char *type)
{
    static const struct {
        const char *type;
        const char *english;
        const char *german;
    } kinds[] = {
        {"uroflowmetry", "uroflowmetry", "Uroflowmetrie"},
        {"cystometry", "filling cystometry", "Füllungszystometrie"},
        {"pressure_flow", "cystometry with pressure-flow study",
         "Zystometrie mit Druck-Fluss-Messung"},
        {"urethral_pressure_profile", "urethral pressure profile", "Urethradruckprofil"},
        {"anorectal_manometry", "anorectal manometry", "anorektale Manometrie"},
        {"pelvic_floor_training", "pelvic floor training", "Beckenbodentraining"},
    };

    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        if (strcmp(kinds[i].type, type) == 0) {
            return is_german(words) ? kinds[i].german : kinds[i].english;
        }
    }
    return type;
}

const char *letter_words_date(struct arena *arena, const struct letter_words *words,
                              const char *date)
{
    enum { DATE_LENGTH = 10, MONTH_AT = 5, DAY_AT = 8 };

    char *day_text = arena_strndup(arena, date, strnlen(date, DATE_LENGTH));
    if (!clock_is_date(day_text)) {
        return date;
    }
    long month = strtol(day_text + MONTH_AT, NULL, 10);
    long day = strtol(day_text + DAY_AT, NULL, 10);
    return arena_printf(arena, "%ld%s %s %.4s", day, is_german(words) ? "." : "",
                        words->months[month - 1], day_text);
}

const char *letter_words_day(struct arena *arena, const struct letter_words *words, int64_t time_us)
{
    char stamp[CLOCK_TEXT_SIZE];
    if (time_us == 0) {
        return "";
    }
    clock_format(time_us, stamp);
    return letter_words_date(arena, words, arena_strdup(arena, stamp));
}

/* What a referring physician is told as numbers; everything else stands in the summary. */
const struct letter_key_number LETTER_KEY_NUMBERS[] = {
    {"uroflow", "qmax", "Maximum flow rate (Qmax)", "Maximale Flussrate (Qmax)"},
    {"uroflow", "qave", "Average flow rate (Qave)", "Mittlere Flussrate (Qave)"},
    {"uroflow", "voided_volume", "Voided volume", "Miktionsvolumen"},
    {"uroflow", "post_void_residual", "Post-void residual", "Restharn"},
    {"filling", "first_desire_volume", "Volume at first desire to void",
     "Volumen beim ersten Harndrang"},
    {"filling", "strong_desire_volume", "Volume at strong desire to void",
     "Volumen bei starkem Harndrang"},
    {"filling", "cystometric_capacity", "Cystometric capacity", "Zystometrische Kapazität"},
    {"filling", "compliance", "Bladder compliance", "Compliance der Blase"},
    {"filling", "abdominal_leak_point_pressure", "Abdominal leak point pressure",
     "Abdomineller Leak-Point-Druck"},
    {"filling", "detrusor_leak_point_pressure", "Detrusor leak point pressure",
     "Detrusor-Leak-Point-Druck"},
    {"voiding", "qmax", "Maximum flow rate during pressure-flow study",
     "Maximale Flussrate bei der Druck-Fluss-Messung"},
    {"voiding", "pdet_qmax", "Detrusor pressure at maximum flow",
     "Detrusordruck bei maximalem Fluss"},
    {"voiding", "post_void_residual", "Residual after the pressure-flow study",
     "Restharn nach der Druck-Fluss-Messung"},
    {"voiding", "booi", "Bladder outlet obstruction index (BOOI)",
     "Index der Blasenauslassobstruktion (BOOI)"},
    {"voiding", "bci", "Bladder contractility index (BCI)", "Index der Blasenkontraktilität (BCI)"},
    {"profiles_summary", "maximum_closure_pressure", "Maximum urethral closure pressure",
     "Maximaler Urethraverschlussdruck"},
    {"profiles_summary", "functional_length", "Functional urethral length",
     "Funktionelle Urethralänge"},
    {"anorectal", "resting_pressure", "Anal resting pressure", "Analer Ruhedruck"},
    {"anorectal", "squeeze_increment", "Anal squeeze increment", "Anstieg beim Kneifen"},
    {"training", "rest_tone", "Resting tone", "Ruhetonus"},
    {"training", "hold_mean_time", "Mean holding time", "Mittlere Haltezeit"},
};

const size_t LETTER_KEY_NUMBER_COUNT = sizeof LETTER_KEY_NUMBERS / sizeof LETTER_KEY_NUMBERS[0];
