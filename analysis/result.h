/* The output of an analysis. A value that could not be computed is absent, with the reason. */
#ifndef ANALYSIS_RESULT_H
#define ANALYSIS_RESULT_H

#include "analysis/choices.h"
#include "analysis/recording.h"

#include <stdbool.h>
#include <stddef.h>

enum measure_state {
    MEASURE_NOT_APPLICABLE, /* does not belong to this recording; nothing is said of it */
    MEASURE_PRESENT,
    MEASURE_ABSENT /* belongs here but could not be computed: `reason` says why */
};

enum measure_source { SOURCE_COMPUTED, SOURCE_ENTERED };

/* A named number beside another, e.g. the "baseline" of a leak point pressure. NaN: not known. */
struct named_number {
    const char *code; /* static storage */
    double value;
};

enum { MEASURE_PARTS_MAX = 4, MEASURE_DOUBTS_MAX = 3 };

/* One number (or word, or yes/no: the catalogue says which) of the analysis document. */
struct measure {
    enum measure_state state;
    enum measure_source source;
    double value;     /* numbers; for yes/no 1 or 0. In the catalogue row's unit */
    const char *word; /* words, e.g. "bell"; static storage */
    bool has_time;
    double at_s;      /* where on the recording's time axis the value was read */
    bool has_stretch; /* it rests on all of from_s..to_s, not on a moment */
    double from_s;
    double to_s;
    const char *method; /* definition used where the literature has several, or NULL; static */
    const char *reason; /* MEASURE_ABSENT: why, as a sentence fragment; static */
    size_t part_count;
    struct named_number parts[MEASURE_PARTS_MAX]; /* what is told beside the value */
    size_t doubt_count;
    const char *doubts[MEASURE_DOUBTS_MAX]; /* codes of quality findings about the span that it
                                               rests on; filled by doubt.c alone */
};

/* A list within a section: what was found, in order of time; or why nothing was looked for. */
struct item_list {
    enum measure_state state; /* MEASURE_PRESENT with count 0: looked for, none found */
    size_t count;
    const void *items;  /* of the type that the catalogue's list names */
    const char *method; /* definition used, or NULL; static */
    const char *reason; /* MEASURE_ABSENT: why */
};

/* Flow of urine: a uroflowmetry, or the flow part of a pressure-flow study's voiding. */
struct flow_measures {
    struct measure qmax;
    struct measure qave;
    struct measure voided_volume;
    struct measure flow_time;
    struct measure voiding_time;
    struct measure time_to_qmax;
    struct measure delay_time;
    struct measure interruptions;
    struct measure post_void_residual;
    struct measure initial_volume;
    struct measure voiding_efficiency;
    struct measure qmax_corrected;
    struct measure flow_pattern;
    struct measure qmax_centile;
    struct measure expected_capacity; /* children */
};

/* An involuntary detrusor contraction during filling. */
struct involuntary_contraction {
    double start_s;
    double peak_s;
    double end_s;
    double volume_ml;       /* in the bladder at its start; NaN when not known */
    double amplitude_cmh2o; /* peak over the level before it */
    double peak_pdet_cmh2o;
    const char *kind; /* "phasic", "terminal" */
    bool leak;        /* urine was lost during it */
    bool urgency;     /* an urgency marker lies within or just beside it */
    bool after_cough; /* it began within seconds after a cough or strain */
};

/* A cough, as seen in the pressures. */
struct cough {
    double at_s;            /* of the peak in pves, or in pabd where pves is missing */
    double pves_rise_cmh2o; /* NaN: not recorded there */
    double pabd_rise_cmh2o;
    double transmission; /* pabd rise over pves rise; NaN unless both are known */
    bool marked;         /* a cough marker belongs to it */
};

/* A strain (Valsalva): both pressures rise together for longer than a cough. */
struct strain {
    double start_s;
    double peak_s;
    double end_s;
    double pves_rise_cmh2o;
    double pabd_rise_cmh2o;
    bool marked;
};

/* A loss of urine during filling. */
struct leak {
    double at_s;
    double volume_ml;  /* in the bladder; NaN when not known */
    double lost_ml;    /* from the flow meter; NaN when only marked */
    const char *cause; /* "cough", "valsalva", "detrusor", "unclear" */
    double pves_baseline_cmh2o;
    double pves_leak_cmh2o;
    double pves_rise_cmh2o;
    double pabd_leak_cmh2o;
    double pdet_leak_cmh2o;
};

struct filling_measures {
    struct measure first_sensation_volume;
    struct measure first_desire_volume;
    struct measure strong_desire_volume;
    struct measure urgency_volume;
    struct measure cystometric_capacity;
    struct measure filling_rate;
    struct measure pves_baseline;
    struct measure pabd_baseline;
    struct measure pdet_baseline;
    struct measure pdet_end_fill;
    struct measure compliance;
    struct measure compliance_volume_change;
    struct measure compliance_pressure_change;
    struct measure expected_capacity; /* children */
    struct measure abdominal_leak_point_pressure;
    struct measure detrusor_leak_point_pressure;
    struct item_list involuntary_contractions; /* struct involuntary_contraction */
    struct item_list coughs;                   /* struct cough */
    struct item_list strains;                  /* struct strain */
    struct item_list leaks;                    /* struct leak */
};

struct voiding_measures {
    struct flow_measures flow;
    struct measure opening_pressure;
    struct measure pdet_max;
    struct measure pves_max;
    struct measure pabd_max;
    struct measure pdet_qmax;
    struct measure pves_qmax;
    struct measure pabd_qmax;
    struct measure closing_pressure;
    struct measure flow_delay;
    struct measure premicturition_pressure;
    struct measure opening_time;
    struct measure pdet_min_void;
    struct measure after_contraction;
    struct measure straining; /* yes/no */
    struct measure booi;
    struct measure bci;
    struct measure obstruction_coefficient;
    struct measure ura;
    struct measure purr_slope; /* slope of the linear passive urethral resistance relation */
    struct measure watts_factor_max;
    struct measure watts_factor_qmax;
    struct measure female_booi;
    struct measure pip1;
};

struct emg_burst {
    double start_s;
    double end_s;
    double peak_uv;
};

struct emg_measures {
    struct measure envelope; /* word: how it was made, with window and kind as parts */
    struct measure resting_mean;
    struct measure filling_mean;
    struct measure filling_slope;
    struct measure guarding; /* end of filling over rest, % */
    struct measure voiding_mean;
    struct measure voiding_to_filling;
    struct measure relaxation_lag; /* start of relaxation to start of flow */
    struct measure burst_overlap;  /* share of the detrusor contraction covered by bursts, % */
    struct measure bursts_during_voiding; /* count */
    struct item_list bursts;              /* struct emg_burst; during voiding */
};

struct transmission_ratio {
    double at_s;
    double position_mm;      /* from the start of the functional length; NaN when not known */
    double position_percent; /* of the functional length */
    double pves_rise_cmh2o;
    double pura_rise_cmh2o;
    double ratio_percent;
    double stress_closure_cmh2o;
};

/* One pull of the urethral pressure profile. */
struct profile_measures {
    struct measure kind;  /* word: "rest", "stress" */
    struct measure start; /* s */
    struct measure end;   /* s */
    struct measure speed; /* mm/s */
    struct measure pves_mean;
    struct measure maximum_urethral_pressure;
    struct measure maximum_closure_pressure;
    struct measure functional_length;
    struct measure total_length;
    struct measure length_to_peak;
    struct measure closure_area;
    struct measure area_to_peak;
    struct measure mean_closure_pressure;
    struct measure half_peak_width;
    struct item_list transmission_ratios; /* struct transmission_ratio */
};

struct profile_list {
    size_t count;
    struct profile_measures *pulls; /* in order of time */
};

/* Mean over the pulls of one kind, with "spread" (standard deviation), "cv_percent" and "count" as
 * parts. */
struct profiles_summary_measures {
    struct measure pulls; /* count of resting pulls that were measured */
    struct measure maximum_urethral_pressure;
    struct measure maximum_closure_pressure;
    struct measure functional_length;
    struct measure total_length;
    struct measure length_to_peak;
    struct measure closure_area;
    struct measure transmission_ratio;      /* median over all coughs */
    struct measure stress_closure_pressure; /* lowest over all coughs */
};

/* One manoeuvre of an anorectal manometry. */
struct anorectal_manoeuvre {
    const char *kind; /* "squeeze", "long_squeeze", "cough", "push", "balloon" */
    double start_s;
    double end_s;
    double anal_rest_mmhg; /* level just before it */
    double anal_peak_mmhg;
    double anal_lowest_mmhg;
    double rectal_rise_mmhg;
    double volume_ml;      /* balloon; NaN otherwise */
    double change_percent; /* push, balloon: relaxation of the anal canal */
};

struct anorectal_measures {
    struct measure resting_pressure;
    struct measure squeeze_increment;
    struct measure squeeze_pressure_max;
    struct measure squeeze_duration;
    struct measure long_squeeze_endurance;
    struct measure cough_increment;
    struct measure cough_gradient; /* lowest anal minus rectal at coughs */
    struct measure push_rectal_rise;
    struct measure push_anal_residual;
    struct measure push_anal_relaxation;
    struct measure rectoanal_gradient;
    struct measure defecation_index;
    struct measure rair; /* word: "present", "absent", "not_assessable" */
    struct measure first_sensation_volume;
    struct measure desire_volume;
    struct measure maximum_tolerated_volume;
    struct measure rectal_compliance;
    struct measure functional_canal_length;
    struct measure balloon_expulsion_time; /* as entered */
    struct item_list manoeuvres;           /* struct anorectal_manoeuvre */
};

/* Amplitudes are in uV when the signal is an EMG and in cmH2O when it is a pressure: the others are
 * NaN. */
struct training_contraction {
    double start_s;
    double end_s;
    double peak_uv;
    double mean_uv; /* of the hold */
    double peak_cmh2o;
    double mean_cmh2o;
    double hold_s; /* above half of its net peak */
    double rise_time_s;
    double release_time_s;
    const char *kind; /* "long", "quick" */
};

struct training_measures {
    struct measure signal;           /* word: which signal was used */
    struct measure rest_tone;        /* uV; not applicable when the signal is a pressure */
    struct measure rest_pressure;    /* cmH2O; not applicable when the signal is an EMG */
    struct measure rest_variability; /* % */
    struct measure peak_best;        /* uV */
    struct measure peak_pressure;    /* cmH2O */
    struct measure hold_mean;        /* uV */
    struct measure hold_pressure;    /* cmH2O */
    struct measure hold_variability; /* % */
    struct measure hold_mean_time;
    struct measure quick_count_10s;
    struct measure long_count;
    struct measure endurance;
    struct measure work_rest_ratio;
    struct measure work_rest_achieved;
    struct measure commands_followed; /* %, detected over commanded */
    struct measure abdominal_use;     /* ratio during contractions over rest */
    struct item_list contractions;    /* struct training_contraction */
};

enum {
    CLASSIFICATION_BASIS_MAX = 8,
    CLASSIFICATION_LIMITS_MAX = 6,
    FINDING_BASIS_MAX = 8,
    FINDING_LIMITS_MAX = 6,
    SUGGESTION_DOUBTS_MAX = 8 /* of a classification or a finding */
};

struct classification {
    const char *code;   /* "ics_obstruction" */
    const char *class;  /* "equivocal" */
    const char *method; /* definition and source, in words */
    size_t basis_count;
    struct named_number basis[CLASSIFICATION_BASIS_MAX]; /* numbers that it rests on */
    size_t limit_count;
    struct named_number limits[CLASSIFICATION_LIMITS_MAX]; /* limits in use, by choice's code */
    size_t doubt_count;
    const char *doubts[SUGGESTION_DOUBTS_MAX]; /* those of the numbers that it rests on */
};

/* Draft wording for a clinician to accept, change or drop. Never a diagnosis. */
struct finding {
    const char *code;
    const char *text;
    size_t basis_count;
    const char *basis[FINDING_BASIS_MAX]; /* "voiding.booi" */
    size_t limit_count;
    struct named_number limits[FINDING_LIMITS_MAX]; /* limits in use, by choice's code */
    size_t doubt_count;
    const char *doubts[SUGGESTION_DOUBTS_MAX]; /* those of the values that it rests on */
};

enum quality_severity { QUALITY_INFO, QUALITY_WARNING, QUALITY_ERROR };

struct quality_finding {
    const char *code;
    enum quality_severity severity;
    enum signal_kind signal; /* SIGNAL_NONE: the recording as a whole */
    bool has_span;
    double from_s;
    double to_s;
    const char *text; /* what it is and what the reader should do */
};

struct analysis_result {
    enum recording_type type;
    bool has_uroflow;
    struct flow_measures uroflow;
    bool has_filling;
    struct filling_measures filling;
    bool has_voiding;
    struct voiding_measures voiding;
    bool has_emg;
    struct emg_measures emg;
    bool has_profiles;
    struct profile_list profiles;
    bool has_profiles_summary;
    struct profiles_summary_measures profiles_summary;
    bool has_anorectal;
    struct anorectal_measures anorectal;
    bool has_training;
    struct training_measures training;
    const struct analysis_choices *choices; /* the limits in use; borrowed */
    size_t classification_count;
    struct classification *classifications;
    size_t finding_count;
    struct finding *findings;
    size_t quality_count;
    struct quality_finding *quality;
};

/* "info", "warning", "error". */
const char *quality_severity_name(enum quality_severity severity);

#endif
