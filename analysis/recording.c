#include "analysis/recording.h"

#include <string.h>

static const char *const type_names[RECORDING_TYPE_COUNT] = {
    [RECORDING_UROFLOWMETRY] = "uroflowmetry",
    [RECORDING_CYSTOMETRY] = "cystometry",
    [RECORDING_PRESSURE_FLOW] = "pressure_flow",
    [RECORDING_URETHRAL_PRESSURE_PROFILE] = "urethral_pressure_profile",
    [RECORDING_ANORECTAL_MANOMETRY] = "anorectal_manometry",
    [RECORDING_PELVIC_FLOOR_TRAINING] = "pelvic_floor_training",
};

struct signal_row {
    const char *name;
    const char *unit;
};

static const struct signal_row signals[SIGNAL_COUNT] = {
    [SIGNAL_PVES] = {"pves", "cm[H2O]"},      [SIGNAL_PABD] = {"pabd", "cm[H2O]"},
    [SIGNAL_PDET] = {"pdet", "cm[H2O]"},      [SIGNAL_PURA] = {"pura", "cm[H2O]"},
    [SIGNAL_FLOW] = {"flow", "mL/s"},         [SIGNAL_VVOID] = {"vvoid", "mL"},
    [SIGNAL_VINF] = {"vinf", "mL"},           [SIGNAL_EMG] = {"emg", "uV"},
    [SIGNAL_PULLER] = {"puller", "mm"},       [SIGNAL_PRECT] = {"prect", "mm[Hg]"},
    [SIGNAL_PANAL] = {"panal", "mm[Hg]"},     [SIGNAL_PANAL1] = {"panal1", "mm[Hg]"},
    [SIGNAL_PANAL2] = {"panal2", "mm[Hg]"},   [SIGNAL_PANAL3] = {"panal3", "mm[Hg]"},
    [SIGNAL_PANAL4] = {"panal4", "mm[Hg]"},   [SIGNAL_PANAL5] = {"panal5", "mm[Hg]"},
    [SIGNAL_PANAL6] = {"panal6", "mm[Hg]"},   [SIGNAL_PANAL7] = {"panal7", "mm[Hg]"},
    [SIGNAL_PANAL8] = {"panal8", "mm[Hg]"},   [SIGNAL_PANAL9] = {"panal9", "mm[Hg]"},
    [SIGNAL_PANAL10] = {"panal10", "mm[Hg]"}, [SIGNAL_PANAL11] = {"panal11", "mm[Hg]"},
    [SIGNAL_PANAL12] = {"panal12", "mm[Hg]"}, [SIGNAL_BALLOON] = {"balloon", "mL"},
    [SIGNAL_PVAG] = {"pvag", "cm[H2O]"},
};

static const char *const event_names[EVENT_CODE_COUNT] = {
    [EVENT_FIRST_SENSATION] = "first_sensation",
    [EVENT_FIRST_DESIRE] = "first_desire",
    [EVENT_STRONG_DESIRE] = "strong_desire",
    [EVENT_URGENCY] = "urgency",
    [EVENT_PAIN] = "pain",
    [EVENT_FILLING_START] = "filling_start",
    [EVENT_FILLING_STOP] = "filling_stop",
    [EVENT_PERMISSION_TO_VOID] = "permission_to_void",
    [EVENT_VOID_START] = "void_start",
    [EVENT_VOID_END] = "void_end",
    [EVENT_COUGH] = "cough",
    [EVENT_VALSALVA] = "valsalva",
    [EVENT_LEAK] = "leak",
    [EVENT_POSITION_CHANGE] = "position_change",
    [EVENT_ZERO] = "zero",
    [EVENT_FLUSH] = "flush",
    [EVENT_PULL_START] = "pull_start",
    [EVENT_PULL_END] = "pull_end",
    [EVENT_SQUEEZE] = "squeeze",
    [EVENT_LONG_SQUEEZE] = "long_squeeze",
    [EVENT_PUSH] = "push",
    [EVENT_BALLOON] = "balloon",
    [EVENT_WORK] = "work",
    [EVENT_REST] = "rest",
    [EVENT_COMMENT] = "comment",
    [EVENT_OTHER] = "other",
};

const char *recording_type_name(enum recording_type type)
{
    return (unsigned)type < RECORDING_TYPE_COUNT ? type_names[type] : NULL;
}

const char *signal_name(enum signal_kind signal)
{
    return (unsigned)signal < SIGNAL_COUNT ? signals[signal].name : NULL;
}

const char *event_code_name(enum event_code code)
{
    return (unsigned)code < EVENT_CODE_COUNT ? event_names[code] : NULL;
}

enum recording_type recording_type_from_name(const char *name)
{
    for (unsigned i = 0; i < RECORDING_TYPE_COUNT; i++) {
        if (strcmp(name, type_names[i]) == 0) {
            return (enum recording_type)i;
        }
    }
    return RECORDING_TYPE_COUNT;
}

enum signal_kind signal_from_name(const char *name)
{
    for (unsigned i = 0; i < SIGNAL_COUNT; i++) {
        if (strcmp(name, signals[i].name) == 0) {
            return (enum signal_kind)i;
        }
    }
    return SIGNAL_NONE;
}

enum event_code event_code_from_name(const char *name)
{
    for (unsigned i = 0; i < EVENT_CODE_COUNT; i++) {
        if (strcmp(name, event_names[i]) == 0) {
            return (enum event_code)i;
        }
    }
    return EVENT_OTHER;
}

const char *const *patient_sex_names(void)
{
    static const char *const names[] = {
        [SEX_UNKNOWN] = "unknown",
        [SEX_FEMALE] = "female",
        [SEX_MALE] = "male",
        [SEX_OTHER] = "other",
        NULL,
    };

    return names;
}

enum patient_sex patient_sex_from_name(const char *name)
{
    const char *const *names = patient_sex_names();

    for (int sex = 0; names[sex] != NULL; sex++) {
        if (strcmp(names[sex], name) == 0) {
            return (enum patient_sex)sex;
        }
    }
    return SEX_UNKNOWN;
}

const char *emg_form_name(enum emg_form form)
{
    static const char *const names[] = {
        [EMG_FORM_UNKNOWN] = NULL,
        [EMG_FORM_RAW] = "raw",
        [EMG_FORM_RECTIFIED] = "rectified",
        [EMG_FORM_ENVELOPE] = "envelope",
    };

    return (unsigned)form < sizeof names / sizeof names[0] ? names[form] : NULL;
}

enum emg_form emg_form_from_name(const char *name)
{
    for (int form = EMG_FORM_RAW; form <= EMG_FORM_ENVELOPE; form++) {
        if (strcmp(emg_form_name((enum emg_form)form), name) == 0) {
            return (enum emg_form)form;
        }
    }
    return EMG_FORM_UNKNOWN;
}

const char *signal_unit(enum signal_kind signal)
{
    return (unsigned)signal < SIGNAL_COUNT ? signals[signal].unit : NULL;
}

const struct channel *recording_channel(const struct recording *recording, enum signal_kind signal)
{
    for (size_t i = 0; i < recording->channel_count; i++) {
        if (recording->channels[i].signal == signal) {
            return &recording->channels[i];
        }
    }
    return NULL;
}
