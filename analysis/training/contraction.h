/* One contraction of the pelvic floor in numbers. */
#ifndef ANALYSIS_TRAINING_CONTRACTION_H
#define ANALYSIS_TRAINING_CONTRACTION_H

#include "analysis/training/commands.h"
#include "analysis/training/holds.h"

/* Amplitudes in the signal's unit. NaN: not known. */
struct contraction_numbers {
    bool quick; /* at most 2 s long */
    double peak;
    double peak_s;
    double mean;   /* of the hold; of all of it when quick or too short for a hold */
    double cv;     /* of the hold, %; NaN when there was none */
    double hold_s; /* time above half of the net peak */
    double rise_s; /* 10 to 90 % of the net peak */
    double release_s;
    double endurance_s; /* until the 2 s mean falls below 60 %; at most what was commanded */
    bool returned;      /* the signal falls below half of the net peak before the next one */
};

/* Measures contraction `index`.
 *
 * command  that it answers, or NULL. The hold is read from 2 s after the start of the command (of
 *          the contraction, when there is none or when it starts later than that) to the end of
 *          the command (else to where it last is above half of its net peak). */
struct contraction_numbers contraction_measure(const struct holds *holds, size_t index,
                                               const struct command *command);

#endif
