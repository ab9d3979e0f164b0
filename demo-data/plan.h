/* What one demo recording shall look like: the invented bladder, outlet, manoeuvres and mishaps.
 *
 * Plans are data; physiology.c, filling.c, voiding.c, urethra.c, anorectum.c and pelvic_floor.c
 * turn them into signals. Ranges said here are common practice or the project's own choice, without
 * a published source, unless one is named.
 */
#ifndef DEMO_DATA_PLAN_H
#define DEMO_DATA_PLAN_H

#include <stdbool.h>
#include <stddef.h>

enum plan_type {
    PLAN_UROFLOWMETRY,
    PLAN_CYSTOMETRY,
    PLAN_PRESSURE_FLOW,
    PLAN_URETHRAL_PROFILE,
    PLAN_ANORECTAL,
    PLAN_TRAINING
};

enum plan_posture { PLAN_SITTING, PLAN_STANDING, PLAN_SUPINE, PLAN_LEFT_LATERAL };

/* What the upload says of the patient's nerves, and of its EMG. */
enum plan_lesion { PLAN_LESION_UNSAID, PLAN_LESION_NONE, PLAN_LESION_KNOWN };

enum plan_emg_form { PLAN_EMG_UNSAID, PLAN_EMG_ENVELOPE, PLAN_EMG_RECTIFIED, PLAN_EMG_RAW };

enum plan_format {
    PLAN_DECIMALS,    /* plain arrays in canonical units */
    PLAN_INT16,       /* base64 int16 codes with a scale */
    PLAN_OTHER_UNITS, /* plain arrays in kPa, L/min and L */
};

/* What comes with an involuntary contraction. */
enum plan_contraction_sign {
    PLAN_SILENT = 0U,
    PLAN_URGENCY = 1U,
    PLAN_AFTER_COUGH = 2U, /* a cough sets it off */
    PLAN_TERMINAL = 4U     /* at capacity: it ends the filling */
};

/* An involuntary detrusor contraction. All-zero means none. */
struct plan_contraction {
    double at_fill_ml; /* bladder volume at which it starts */
    double amplitude_cmh2o;
    double length_s;
    double leak_ml; /* lost around its peak */
    unsigned signs; /* of enum plan_contraction_sign */
};

enum plan_manoeuvre_kind {
    PLAN_NO_MANOEUVRE,
    PLAN_COUGH,
    PLAN_VALSALVA,
    PLAN_OVERFLOW, /* nobody does anything: the full bladder's pressure alone makes it leak */
    PLAN_UNSEEN    /* nobody does anything, and the pressures show nothing either */
};

/* A provocation that the operator asks for. */
struct plan_manoeuvre {
    enum plan_manoeuvre_kind kind;
    double at_fill_ml;
    double rise_cmh2o; /* above resting abdominal pressure */
    double leak_ml;    /* 0: the outlet holds */
};

enum plan_mishap_kind {
    PLAN_NO_MISHAP,
    PLAN_FLUSH_PVES, /* the line is flushed: a high plateau in one line */
    PLAN_FLUSH_PABD,
    PLAN_DAMPED_PABD, /* an air bubble: the line is slow and weak until it is flushed */
    PLAN_RECTAL,      /* rectal contraction: abdominal line only */
    PLAN_MOVEMENT,    /* both lines, roughly alike */
    PLAN_TALKING,     /* both lines, small and restless */
    PLAN_STAND_UP,    /* both lines step up for good */
    PLAN_KNOCK,       /* someone touches the flow meter */
    PLAN_LOST_PVES,   /* missing samples */
    PLAN_LOST_PABD,
    PLAN_LOST_EMG,
    PLAN_LOST_FLOW,
    PLAN_DAMPED_PVES,
    PLAN_AIR_PVES,      /* a small bubble: coughs come late and blunted */
    PLAN_DEAD_PABD,     /* the line stands still: blocked, or its tap is shut */
    PLAN_EXPELLED_PVES, /* the bladder catheter comes out with the stream */
    PLAN_DRIFT_PABD,    /* a leaking tap: the line sinks or climbs by `size` */
    PLAN_NOISE_PVES,    /* a bad contact: `size` is the standard deviation */
    PLAN_UNEQUAL_PABD,  /* the whole recording: `size` is the share that comes through */
    PLAN_ZERO_PVES,     /* the whole recording: not zeroed to atmosphere, off by `size` */
    PLAN_ZERO_BOTH,
    PLAN_CLIPPED,      /* the whole recording: both lines end at `size` */
    PLAN_FLOW_CLIPPED, /* the meter ends at `size` */
    PLAN_VOLUME_WRONG, /* the meter's volume is `size` times what was voided */
    PLAN_PUMP_WRONG,   /* the infused volume is `size` times what the pump was set to */
};

struct plan_mishap {
    enum plan_mishap_kind kind;
    double at_part; /* 0 to 1 of the filling; for KNOCK, LOST_FLOW, EXPELLED_PVES of the flow */
    double length_s;
    double size; /* cmH2O, mL/s; DAMPED and AIR: share of the pressure that still comes through */
};

enum { PLAN_CONTRACTIONS = 5, PLAN_MANOEUVRES = 8, PLAN_MISHAPS = 7 };

struct plan_filling {
    double rate_ml_min; /* pump */
    double initial_ml;  /* residual at the start */
    double capacity_ml; /* bladder volume at which the pump is stopped */
    double compliance_ml_cmh2o;
    double late_stiffness;     /* 0: pressure rises evenly; 1: all of the rise is near capacity */
    double first_sensation_ml; /* 0: not felt, no marker */
    double first_desire_ml;
    double strong_desire_ml;
    double urgency_ml;
    struct plan_contraction contractions[PLAN_CONTRACTIONS];
    struct plan_manoeuvre manoeuvres[PLAN_MANOEUVRES];
};

/* The voiding aims at (pdet_qmax, qmax); what comes of it is in the truth file. */
struct plan_voiding {
    double initial_ml; /* bladder volume, when no filling comes before */
    double residual_ml;
    double qmax_ml_s;
    double pdet_qmax_cmh2o;
    double pmuo_cmh2o; /* minimum urethral opening pressure: the passive outlet's flow-free end */
    double opening_extra_cmh2o; /* needed at first, while the outlet is still stretching */
    double yield_cmh2o_s_ml; /* pressure that the muscle gives up for each mL/s. Men 5: the slope of
                                the bladder contractility index. Women and children 2: choice */
    double rise_s;           /* from the start of the contraction to its full strength */
    double hesitancy_s;      /* from permission to the start of the contraction */
    double fatigue_s;        /* time constant with which the contraction fades; 0: it does not */
    double strain_cmh2o;     /* abdominal straining, each push; 0: none */
    double strain_period_s;
    double sphincter_depth; /* 0: relaxed; 1: shuts the outlet at times (dyssynergia, staccato) */
    double sphincter_period_s;
    double after_contraction_cmh2o;
    bool involuntary; /* a terminal contraction: nobody gave permission */
};

struct plan_urethra;
struct plan_anorectum;
struct plan_training;

struct plan {
    enum plan_type type;
    enum plan_posture posture;
    enum plan_format format;
    double pressure_hz;
    double flow_hz;
    double emg_hz; /* 0: no EMG */
    bool record_pdet;
    bool no_permission_marker;
    bool no_coughs; /* nobody asked for a cough */
    enum plan_emg_form emg_form;
    enum plan_lesion lesion;
    double free_qmax_ml_s; /* of a free flow, as entered; 0: not entered */
    double resting_pdet_cmh2o;
    double flow_delay_s; /* bladder neck to flow meter, the meter's own lag included */
    struct plan_filling filling;
    struct plan_voiding voiding; /* qmax_ml_s 0: no voiding recorded */
    struct plan_mishap mishaps[PLAN_MISHAPS];
    const struct plan_urethra *urethra;     /* pulls of the profile catheter, or NULL */
    const struct plan_anorectum *anorectum; /* PLAN_ANORECTAL */
    const struct plan_training *training;   /* PLAN_TRAINING */
    const char *comment;                    /* the operator's note, or NULL */
};

/* Whether a recording holds filling or voiding. */
static inline bool plan_is_of_bladder(const struct plan *plan)
{
    return plan->type == PLAN_UROFLOWMETRY || plan->type == PLAN_CYSTOMETRY ||
           plan->type == PLAN_PRESSURE_FLOW;
}

/* Free flows. */
extern const struct plan plan_flow_man_normal;
extern const struct plan plan_flow_man_obstructed;
extern const struct plan plan_flow_man_stricture;
extern const struct plan plan_flow_man_straining;
extern const struct plan plan_flow_man_low_volume;
extern const struct plan plan_flow_woman_normal;
extern const struct plan plan_flow_woman_tower;
extern const struct plan plan_flow_woman_slow;
extern const struct plan plan_flow_girl_staccato;
extern const struct plan plan_flow_boy_normal;
extern const struct plan plan_flow_girl_interrupted;

/* Filling and voiding, men. */
extern const struct plan plan_man_obstructed;
extern const struct plan plan_man_obstructed_overactive;
extern const struct plan plan_man_equivocal;
extern const struct plan plan_man_weak;
extern const struct plan plan_man_normal;
extern const struct plan plan_man_neurogenic;

/* Filling and voiding, women and children. */
extern const struct plan plan_woman_normal;
extern const struct plan plan_woman_obstructed;
extern const struct plan plan_woman_dyssynergia;
extern const struct plan plan_girl_slow;

/* Filling alone. */
extern const struct plan plan_woman_stress;
extern const struct plan plan_woman_terminal;
extern const struct plan plan_woman_sensitive;
extern const struct plan plan_boy_stiff;

/* Profiles. */
extern const struct plan plan_profile_woman;
extern const struct plan plan_profile_woman_stress;
extern const struct plan plan_profile_woman_low;
extern const struct plan plan_profile_man;
extern const struct plan plan_woman_with_profile;

/* Manometry. */
extern const struct plan plan_anorectal_normal;
extern const struct plan plan_anorectal_weak;
extern const struct plan plan_anorectal_paradox;
extern const struct plan plan_anorectal_no_reflex;
extern const struct plan plan_anorectal_insensitive;

/* Training. */
extern const struct plan plan_training_first;
extern const struct plan plan_training_second;
extern const struct plan plan_training_third;
extern const struct plan plan_training_fourth;
extern const struct plan plan_training_pressure;

/* Sphincters, leaks, women's voiding. */
extern const struct plan plan_woman_raw_emg;
extern const struct plan plan_man_cord;
extern const struct plan plan_girl_tight;
extern const struct plan plan_woman_wet;
extern const struct plan plan_man_terminal_dry;
extern const struct plan plan_woman_stress_low;
extern const struct plan plan_girl_overflow;
extern const struct plan plan_woman_blocked;
extern const struct plan plan_woman_weak;
extern const struct plan plan_woman_straining;

/* Things that go wrong. */
extern const struct plan plan_mishap_lines;
extern const struct plan plan_mishap_air;
extern const struct plan plan_mishap_unequal;
extern const struct plan plan_mishap_drift;
extern const struct plan plan_mishap_zero;
extern const struct plan plan_mishap_slow;
extern const struct plan plan_mishap_noise;
extern const struct plan plan_mishap_meter;

#endif
