/* The inside of one recording while it is being made: noise-free tracks on one fine time base, the
 * operator's markers, and the true values. */
#ifndef DEMO_DATA_SCENE_H
#define DEMO_DATA_SCENE_H

#include "facts.h"
#include "plan.h"
#include "rng.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    SCENE_RATE_HZ =
        100, /* fine enough for a cough, and a multiple of every rate that is recorded */
    SCENE_SECONDS_MAX = 2400,
    SCENE_SAMPLES_MAX = SCENE_RATE_HZ * SCENE_SECONDS_MAX,
    SCENE_MARKERS_MAX = 96,
    SCENE_NOTES_MAX = 64,
    SCENE_LINES_MAX = 16,
};

static const double SCENE_STEP_S = 1.0 / SCENE_RATE_HZ;

/* Something that a person notes during the recording. */
struct scene_marker {
    double at_s;
    const char *code;
    const char *note; /* "" for none */
    bool valued;
    double value; /* balloon: mL */
};

/* What happened, and when, as the maker of the signals knows it. */
struct scene_cough {
    double at_s; /* of the peak */
    double rise_cmh2o;
    double transmission; /* rise in pabd over rise in pves */
};

struct scene_contraction {
    double start_s;
    double peak_s;
    double end_s;
    double volume_ml; /* in the bladder at the start */
    double amplitude_cmh2o;
    const char *kind; /* "phasic" or "terminal" */
    bool leak;
    bool urgency;
    bool after_cough;
};

struct scene_leak {
    double at_s;      /* urine leaves the urethra */
    double volume_ml; /* in the bladder */
    double lost_ml;
    double rise_cmh2o; /* of pves above rest, at the leak */
    const char *cause; /* "cough", "valsalva", "detrusor" */
    bool contraction;  /* during an involuntary contraction */
};

struct scene_artefact {
    const char *kind;
    const char *signal; /* "pves", "pabd", "flow", "emg", "both" (pves and pabd) */
    double from_s;
    double to_s;
};

struct scene_span {
    double from_s;
    double to_s;
};

/* A line of its own: recorded from a track at its own rate, besides those that every scene has. */
struct scene_line {
    const char *signal;
    const char *unit; /* UCUM */
    double rate_hz;
    int decimals;
    double scale;  /* > 0: to be written as int16 codes of this size */
    double noise;  /* of the converter, in `unit` */
    double *track; /* in `unit` */
};

/* Something wrong with a line, or with what the equipment makes of it: see faults.h. */
struct scene_fault {
    enum plan_mishap_kind kind;
    double from_s;
    double to_s;
    double size;
};

/* A number that may be missing from the truth. */
struct scene_number {
    bool known;
    double value;
};

struct scene_truth {
    double filling_start_s;
    double filling_stop_s;
    double permission_s;
    struct scene_number capacity_ml;
    struct scene_number compliance_ml_cmh2o;
    struct scene_number first_sensation_ml;
    struct scene_number first_desire_ml;
    struct scene_number strong_desire_ml;
    struct scene_number urgency_ml;
    struct scene_number pdet_end_fill_cmh2o;
    struct scene_number residual_ml;
    double opening_s; /* urine leaves the urethra; the meter sees it flow_delay_s later */
    double closing_s;
    double contraction_s; /* the voiding contraction begins */
    size_t cough_count;
    struct scene_cough coughs[SCENE_NOTES_MAX];
    size_t contraction_count;
    struct scene_contraction contractions[PLAN_CONTRACTIONS + 1];
    size_t leak_count;
    struct scene_leak leaks[SCENE_NOTES_MAX];
    size_t artefact_count;
    struct scene_artefact artefacts[SCENE_NOTES_MAX];
    size_t pull_count;
    struct facts_pull pulls[FACTS_PULLS_MAX];
    struct facts_anorectal anorectal;
    struct facts_training training;
};

struct scene {
    struct rng rng;
    double now_s;      /* end of what has been made so far */
    size_t count;      /* samples a track, once the recording is complete */
    double bladder_ml; /* at now_s */
    double resting_pabd_cmh2o;
    double *pdet;      /* detrusor pressure, cmH2O */
    double *pabd;      /* pressure around the bladder: what both lines see, without resting_pabd */
    double *pves_only; /* what only the vesical line sees: flushes, drift, pulse */
    double *pabd_only; /* what only the rectal line sees */
    double *outflow;   /* leaving the urethra, mL/s */
    double *infused;   /* by the pump, mL */
    double *bladder;   /* volume, mL */
    double *sphincter; /* closing effort during voiding, 0 to 1 */
    double *knock;     /* what the flow meter shows but no urine made, mL/s */
    double *emg;       /* pelvic floor activity as a multiple of rest */
    struct scene_span damped; /* rectal line slow and weak here */
    double damped_share;
    struct scene_span lost[PLAN_MISHAPS];
    const char *lost_signal[PLAN_MISHAPS];
    size_t lost_count;
    struct scene_fault faults[PLAN_MISHAPS];
    size_t fault_count;
    size_t line_count;
    struct scene_line lines[SCENE_LINES_MAX];
    struct scene_span busy[SCENE_NOTES_MAX]; /* no cough test here: something else is going on */
    size_t busy_count;
    struct scene_marker markers[SCENE_MARKERS_MAX];
    size_t marker_count;
    struct scene_truth truth;
};

/* A silent recording, or NULL when memory ran out. */
struct scene *scene_new(uint64_t seed, uint64_t stream);
void scene_free(struct scene *scene);

/* A new line's track, all zero and owned by the scene; NULL when memory ran out. `line.track` is
 * filled in. At most SCENE_LINES_MAX. */
double *scene_add_line(struct scene *scene, struct scene_line line);

/* Index of a moment on the tracks, clamped to them. */
size_t scene_index(double at_s);

/* A person's marker: set `late_least` to `late_most` seconds after the moment itself. */
void scene_mark(struct scene *scene, double at_s, double late_least, double late_most,
                const char *code, const char *note);

/* The same with a number. */
void scene_mark_value(struct scene *scene, double at_s, const char *code, double value);

/* Markers in the order of time, as an upload would hold them. */
void scene_sort_markers(struct scene *scene);

/* Keeps cough tests out of a span, and asks whether a span is free. */
void scene_keep_free(struct scene *scene, double from_s, double to_s);
bool scene_is_free(const struct scene *scene, double from_s, double to_s);

/* Adds a smooth hump to a track: raised cosine up over rise_s, down over fall_s. */
void scene_add_hump(double *track, double from_s, double rise_s, double fall_s, double size);

/* Notes an artefact for the truth file. */
void scene_note_artefact(struct scene *scene, const char *kind, const char *signal, double from_s,
                         double to_s);

#endif
