#include "formats/edf_names.h"

#include "analysis/units.h"
#include "base/text.h"

#include <string.h>

enum { NAME_SIZE = 32, DIMENSION_LIST_LIMIT = 200 };

/* Words that tell the kind of a signal before its name, as EDF+'s standard labels do. */
static const char *const kinds[] = {"press", "pressure", "pres", "flow",     "emg",
                                    "vol",   "volume",   "dist", "distance", "length"};

/* Spelled as plain_name() leaves a label. Qura and Vura are how ICS writes urine flow rate and
 * voided volume; the others are common practice, no source. */
static const struct {
    const char *name;
    enum signal_kind signal;
} synonyms[] = {
    {"qura", SIGNAL_FLOW},
    {"flowrate", SIGNAL_FLOW},
    {"uroflow", SIGNAL_FLOW},
    {"urineflow", SIGNAL_FLOW},
    {"vura", SIGNAL_VVOID},
    {"voidedvolume", SIGNAL_VVOID},
    {"infusedvolume", SIGNAL_VINF},
    {"vesicalpressure", SIGNAL_PVES},
    {"abdominalpressure", SIGNAL_PABD},
    {"detrusorpressure", SIGNAL_PDET},
    {"urethralpressure", SIGNAL_PURA},
    {"rectalpressure", SIGNAL_PRECT},
    {"analpressure", SIGNAL_PANAL},
    {"vaginalpressure", SIGNAL_PVAG},
};

/* The first row of a unit is the one that is written. `plain` is spelled as plain_name() leaves the
 * dimension. */
static const struct {
    const char *dimension;
    const char *plain;
    const char *unit;
} dimensions[] = {
    {"cmH2O", "cmh2o", "cm[H2O]"},
    {"kPa", "kpa", "kPa"},
    {"mmHg", "mmhg", "mm[Hg]"},
    {"mL", "ml", "mL"},
    {"cc", "cc", "mL"},
    {"cm^3", "cm^3", "mL"},
    {"cm3", "cm3", "mL"},
    {"L", "l", "L"},
    {"mL/s", "ml/s", "mL/s"},
    {"mL/sec", "ml/sec", "mL/s"},
    {"cc/s", "cc/s", "mL/s"},
    {"cm^3/s", "cm^3/s", "mL/s"},
    {"L/min", "l/min", "L/min"},
    {"mL/min", "ml/min", "mL/min"},
    {"s", "s", "s"},
    {"sec", "sec", "s"},
    {"min", "min", "min"},
    {"mm", "mm", "mm"},
    {"cm", "cm", "cm"},
    {"uV", "uv", "uV"},
    {"mV", "mv", "mV"},
    {"kg", "kg", "kg"},
    {"%", "%", "%"},
    {"1", "1", "1"},
};

enum { DIMENSION_COUNT = sizeof dimensions / sizeof dimensions[0] };

/* Lower case, without what separates; "" when it is too long to be any name of ours. */
static void plain_name(const char *text, const char *separators, char plain[NAME_SIZE])
{
    size_t length = 0;
    for (const char *at = text; *at != '\0'; at++) {
        if (strchr(separators, *at) != NULL) {
            continue;
        }
        if (length + 1 >= NAME_SIZE) {
            length = 0;
            break;
        }
        plain[length++] = (char)(*at >= 'A' && *at <= 'Z' ? *at - 'A' + 'a' : *at);
    }
    plain[length] = '\0';
}

static enum signal_kind signal_of_plain(const char *plain)
{
    for (size_t i = 0; i < sizeof synonyms / sizeof synonyms[0]; i++) {
        if (strcmp(plain, synonyms[i].name) == 0) {
            return synonyms[i].signal;
        }
    }
    return signal_from_name(plain);
}

/* What follows a leading kind word, or NULL. */
static const char *after_kind(const char *label)
{
    char word[NAME_SIZE] = "";
    size_t length = strcspn(label, " _-.:");
    if (length >= NAME_SIZE || label[length] == '\0') {
        return NULL;
    }
    memcpy(word, label, length);
    char plain[NAME_SIZE];
    plain_name(word, "", plain);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        if (strcmp(plain, kinds[i]) == 0) {
            return label + length + 1;
        }
    }
    return NULL;
}

enum signal_kind edf_names_signal(const char *label)
{
    char plain[NAME_SIZE];
    plain_name(label, " _-.:", plain);
    enum signal_kind signal = signal_of_plain(plain);
    const char *rest = after_kind(label);
    if (signal == SIGNAL_NONE && rest != NULL) {
        plain_name(rest, " _-.:", plain);
        signal = signal_of_plain(plain);
    }
    return signal;
}

const char *edf_names_label(enum signal_kind signal)
{
    static const char *const labels[SIGNAL_COUNT] = {
        [SIGNAL_PVES] = "Press pves",
        [SIGNAL_PABD] = "Press pabd",
        [SIGNAL_PDET] = "Press pdet",
        [SIGNAL_PURA] = "Press pura",
        [SIGNAL_FLOW] = "Flow",
        [SIGNAL_VVOID] = "Vol vvoid",
        [SIGNAL_VINF] = "Vol vinf",
        [SIGNAL_EMG] = "EMG",
        [SIGNAL_PULLER] = "Dist puller",
        [SIGNAL_PRECT] = "Press prect",
        [SIGNAL_PANAL] = "Press panal",
        [SIGNAL_PANAL1] = "Press panal1",
        [SIGNAL_PANAL2] = "Press panal2",
        [SIGNAL_PANAL3] = "Press panal3",
        [SIGNAL_PANAL4] = "Press panal4",
        [SIGNAL_PANAL5] = "Press panal5",
        [SIGNAL_PANAL6] = "Press panal6",
        [SIGNAL_PANAL7] = "Press panal7",
        [SIGNAL_PANAL8] = "Press panal8",
        [SIGNAL_PANAL9] = "Press panal9",
        [SIGNAL_PANAL10] = "Press panal10",
        [SIGNAL_PANAL11] = "Press panal11",
        [SIGNAL_PANAL12] = "Press panal12",
        [SIGNAL_BALLOON] = "Vol balloon",
        [SIGNAL_PVAG] = "Press pvag",
    };

    return labels[signal];
}

const char *edf_names_unit(const char *dimension)
{
    char plain[NAME_SIZE];
    plain_name(dimension, " _[]", plain);
    for (size_t i = 0; i < DIMENSION_COUNT; i++) {
        if (strcmp(plain, dimensions[i].plain) == 0) {
            return dimensions[i].unit;
        }
    }
    return NULL;
}

const char *edf_names_dimension(const char *unit)
{
    for (size_t i = 0; i < DIMENSION_COUNT; i++) {
        if (strcmp(unit, dimensions[i].unit) == 0) {
            return dimensions[i].dimension;
        }
    }
    return NULL;
}

const char *edf_names_dimensions_for(enum signal_kind signal, struct arena *arena)
{
    struct text list;
    text_init(&list, arena, DIMENSION_LIST_LIMIT);
    for (size_t i = 0; i < DIMENSION_COUNT; i++) {
        double factor = 0.0;
        if (units_factor(dimensions[i].unit, signal_unit(signal), &factor)) {
            text_append(&list, list.length == 0 ? "" : ", ");
            text_append(&list, dimensions[i].dimension);
        }
    }
    return list.data;
}
