/* The input of an analysis: channels, events, conditions and what is known of the patient.
 *
 * Everything is borrowed: a recording owns none of the arrays that it points at. Values are in the
 * canonical unit of their signal (signal_unit()); conversion is the caller's, see units.h. */
#ifndef ANALYSIS_RECORDING_H
#define ANALYSIS_RECORDING_H

#include <stdbool.h>
#include <stddef.h>

enum recording_type {
    RECORDING_UROFLOWMETRY,
    RECORDING_CYSTOMETRY,
    RECORDING_PRESSURE_FLOW,
    RECORDING_URETHRAL_PRESSURE_PROFILE,
    RECORDING_ANORECTAL_MANOMETRY,
    RECORDING_PELVIC_FLOOR_TRAINING,
    RECORDING_TYPE_COUNT
};

enum signal_kind {
    SIGNAL_PVES,   /* vesical pressure, cmH2O */
    SIGNAL_PABD,   /* abdominal pressure, cmH2O */
    SIGNAL_PDET,   /* detrusor pressure, cmH2O */
    SIGNAL_PURA,   /* urethral pressure, cmH2O */
    SIGNAL_FLOW,   /* urine flow rate, mL/s */
    SIGNAL_VVOID,  /* voided volume, mL */
    SIGNAL_VINF,   /* infused volume, mL */
    SIGNAL_EMG,    /* electromyogram, uV */
    SIGNAL_PULLER, /* withdrawn length, mm */
    SIGNAL_PRECT,  /* rectal pressure, mmHg */
    SIGNAL_PANAL,  /* anal canal pressure (one sensor), mmHg */
    SIGNAL_PANAL1,
    SIGNAL_PANAL2,
    SIGNAL_PANAL3,
    SIGNAL_PANAL4,
    SIGNAL_PANAL5,
    SIGNAL_PANAL6,
    SIGNAL_PANAL7,
    SIGNAL_PANAL8,
    SIGNAL_PANAL9,
    SIGNAL_PANAL10,
    SIGNAL_PANAL11,
    SIGNAL_PANAL12,
    SIGNAL_BALLOON, /* balloon volume, mL */
    SIGNAL_PVAG,    /* vaginal pressure, cmH2O */
    SIGNAL_COUNT,
    SIGNAL_NONE = SIGNAL_COUNT
};

enum event_code {
    EVENT_FIRST_SENSATION,
    EVENT_FIRST_DESIRE,
    EVENT_STRONG_DESIRE,
    EVENT_URGENCY,
    EVENT_PAIN,
    EVENT_FILLING_START,
    EVENT_FILLING_STOP,
    EVENT_PERMISSION_TO_VOID,
    EVENT_VOID_START,
    EVENT_VOID_END,
    EVENT_COUGH,
    EVENT_VALSALVA,
    EVENT_LEAK,
    EVENT_POSITION_CHANGE,
    EVENT_ZERO,
    EVENT_FLUSH,
    EVENT_PULL_START,
    EVENT_PULL_END,
    EVENT_SQUEEZE,
    EVENT_LONG_SQUEEZE,
    EVENT_PUSH,
    EVENT_BALLOON,
    EVENT_WORK,
    EVENT_REST,
    EVENT_COMMENT,
    EVENT_OTHER, /* a clinic's own code: stored and shown, left out of the computation */
    EVENT_CODE_COUNT
};

enum patient_sex { SEX_UNKNOWN, SEX_FEMALE, SEX_MALE, SEX_OTHER };

/* The patient's position during the recording, as far as a rule depends on it. */
enum patient_position { POSITION_UNKNOWN, POSITION_SITTING, POSITION_STANDING, POSITION_SUPINE };

/* A question that the upload may leave open. */
enum patient_answer { ANSWER_UNKNOWN, ANSWER_NO, ANSWER_YES };

/* What the samples of the EMG are. */
enum emg_form { EMG_FORM_UNKNOWN, EMG_FORM_RAW, EMG_FORM_RECTIFIED, EMG_FORM_ENVELOPE };

/* A number that the upload may lack. `value` means nothing unless `known`. */
struct optional_number {
    bool known;
    double value;
};

struct channel {
    enum signal_kind signal;
    double rate_hz; /* > 0 */
    double start_s; /* time of samples[0], seconds from the start of the recording */
    size_t sample_count;
    const double *samples; /* canonical unit; NaN is a missing sample */
};

struct event {
    double at_s;
    enum event_code code;
    struct optional_number value; /* EVENT_BALLOON: mL */
};

struct conditions {
    enum patient_position position;
    struct optional_number post_void_residual_ml;
    struct optional_number initial_residual_ml;
    struct optional_number filling_rate_ml_min;
    struct optional_number flow_delay_s;
    struct optional_number puller_speed_mm_s;
    struct optional_number free_qmax_ml_s;         /* of a free flow of the same patient */
    struct optional_number balloon_expulsion_s;    /* rectal balloon, as timed */
    struct optional_number anal_sensor_spacing_mm; /* between neighbours, panal1 outermost */
    enum patient_answer neurological_lesion;       /* known, between pons and sacral cord */
    enum emg_form emg_form;
};

struct recording {
    enum recording_type type;
    enum patient_sex sex;
    struct optional_number age_years; /* at the time of the recording, fractions allowed */
    struct optional_number weight_kg;
    struct conditions conditions;
    size_t channel_count;
    const struct channel *channels; /* at most one for each signal */
    size_t event_count;
    const struct event *events; /* any order */
};

/* Names as the contract spells them ("pressure_flow", "pves", "first_desire"); NULL when out of
 * range. */
const char *recording_type_name(enum recording_type type);
const char *signal_name(enum signal_kind signal);
const char *event_code_name(enum event_code code);

/* The other way round. An unknown name gives the COUNT member (events: EVENT_OTHER). */
enum recording_type recording_type_from_name(const char *name);
enum signal_kind signal_from_name(const char *name);
enum event_code event_code_from_name(const char *name);

/* FHIR administrative genders, by enum patient_sex, then NULL: "unknown", "female", ... */
const char *const *patient_sex_names(void);

/* SEX_UNKNOWN for any other name. */
enum patient_sex patient_sex_from_name(const char *name);

/* "raw", "rectified", "envelope"; NULL for EMG_FORM_UNKNOWN. */
const char *emg_form_name(enum emg_form form);

/* EMG_FORM_UNKNOWN for any other name. */
enum emg_form emg_form_from_name(const char *name);

/* UCUM code of the unit in which the analysis expects a signal, e.g. "cm[H2O]". */
const char *signal_unit(enum signal_kind signal);

/* The channel that carries a signal, or NULL. */
const struct channel *recording_channel(const struct recording *recording, enum signal_kind signal);

#endif
