/* The output of an analysis. A value that could not be computed is absent, with the reason. */
#ifndef ANALYSIS_RESULT_H
#define ANALYSIS_RESULT_H

#include "analysis/recording.h"

#include <stdbool.h>
#include <stddef.h>

enum measure_state {
    MEASURE_NOT_APPLICABLE, /* does not belong to this recording; nothing is said of it */
    MEASURE_PRESENT,
    MEASURE_ABSENT /* belongs here but could not be computed: `reason` says why */
};

enum measure_source { SOURCE_COMPUTED, SOURCE_ENTERED };

/* One number (or word, or yes/no: the catalogue says which) of the analysis document. */
struct measure {
    enum measure_state state;
    enum measure_source source;
    double value;     /* numbers; for yes/no 1 or 0. In the catalogue row's unit */
    const char *word; /* words, e.g. "bell"; static storage */
    bool has_time;
    double at_s;        /* where on the recording's time axis the value was read */
    const char *method; /* definition used where the literature has several, or NULL; static */
    const char *reason; /* MEASURE_ABSENT: why, as a sentence fragment; static */
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
    struct measure booi;
    struct measure bci;
};

/* A number that a classification rests on. */
struct basis_number {
    const char *code;
    double value;
};

enum { CLASSIFICATION_BASIS_MAX = 4, FINDING_BASIS_MAX = 4 };

struct classification {
    const char *code;   /* "ics_obstruction" */
    const char *class;  /* "equivocal" */
    const char *method; /* definition and source, in words */
    size_t basis_count;
    struct basis_number basis[CLASSIFICATION_BASIS_MAX];
};

/* Draft wording for a clinician to accept, change or drop. Never a diagnosis. */
struct finding {
    const char *code;
    const char *text;
    size_t basis_count;
    const char *basis[FINDING_BASIS_MAX]; /* "voiding.booi" */
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
