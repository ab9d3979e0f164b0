/* The manoeuvres of an anorectal manometry: where each lies, by its marker or found without. */
#ifndef ANALYSIS_ANORECTAL_MANOEUVRE_H
#define ANALYSIS_ANORECTAL_MANOEUVRE_H

#include "analysis/anorectal/anal_signals.h"

enum manoeuvre_kind {
    MANOEUVRE_SQUEEZE,
    MANOEUVRE_LONG_SQUEEZE,
    MANOEUVRE_COUGH,
    MANOEUVRE_PUSH,
    MANOEUVRE_BALLOON, /* a fast inflation */
    MANOEUVRE_KINDS
};

struct manoeuvre {
    enum manoeuvre_kind kind;
    double at_s;                     /* its marker, or where it was found to begin */
    bool marked;                     /* balloon: by an event, else by the volume signal */
    double volume_ml;                /* balloon; NaN when not known */
    struct span window;              /* in which its extreme lies */
    double next_s;                   /* begin of the next one; SERIES_ENDLESS after the last */
    struct anorectal_manoeuvre item; /* what was measured; NaN where nothing was */
};

/* Of the inflations found in the balloon's volume, and again of all found in the pressures. */
enum { MANOEUVRE_FOUND_MAX = 256 };

struct manoeuvre_list {
    size_t count;
    struct manoeuvre *items; /* in order of time */
    struct span sensory;     /* the slow inflation; from_s > to_s when none is marked */
    struct span pull;        /* the pull-through by markers or puller; likewise */
};

/* Finds them all; notes which were found without a marker. False when memory ran out. */
bool manoeuvre_find(struct study *study, const struct anal_signals *signals,
                    struct manoeuvre_list *list);

/* "squeeze", "long_squeeze", ... */
const char *manoeuvre_name(enum manoeuvre_kind kind);

size_t manoeuvre_count(const struct manoeuvre_list *list, enum manoeuvre_kind kind);

/* The time that a manoeuvre disturbs: no rest there, and nothing else is sought. */
struct span manoeuvre_span(const struct manoeuvre *manoeuvre);

/* Volume in the balloon: its signal, else the last balloon event that has a value. NaN when neither
 * tells it. */
double manoeuvre_volume(const struct study *study, const struct anal_signals *signals, double at_s);

/* Adds what shows in the signals alone, of the kinds that have no marker; for manoeuvre_find().
 * `list` has room for MANOEUVRE_FOUND_MAX more. False when memory ran out. */
bool manoeuvre_search(struct study *study, const struct anal_signals *signals,
                      struct manoeuvre_list *list);

#endif
