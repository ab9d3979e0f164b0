/* What a training session commanded: work and rest markers. */
#ifndef ANALYSIS_TRAINING_COMMANDS_H
#define ANALYSIS_TRAINING_COMMANDS_H

#include "analysis/study.h"

struct command {
    struct span
        work;      /* from its marker to the next rest or work marker, or the end of the signal */
    bool bounded;  /* a marker ends it */
    double rest_s; /* from the rest marker to the next work marker; NaN when one is missing */
};

struct commands {
    size_t count;
    struct command *items; /* in order of time */
};

/* Reads them; `end_s` is where the signal ends. False when memory ran out. */
bool commands_read(const struct study *study, double end_s, struct commands *ret_commands);

/* The command that a contraction answers: the one that it overlaps most; NULL for none. When asked
 * for contractions in order of time, *cursor (0 at first) keeps the time linear. */
const struct command *commands_for(const struct commands *commands, struct span contraction,
                                   size_t *cursor);

/* Commanded work over commanded rest, over all pairs that both have an end; NaN without one. */
double commands_ratio(const struct commands *commands);

#endif
