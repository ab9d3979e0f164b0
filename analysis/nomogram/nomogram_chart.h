/* Nomograms as data: axes, the lines that divide them and the zones between, so that what is drawn
 * and what is classified come from one place.
 *
 * A chart's lines are functions of x. Those of one family cut the chart into bands, counted from
 * below: band 0 lies under the family's first line. A chart of one family has a zone for each band,
 * one of two families a zone for each pair of bands. */
#ifndef ANALYSIS_NOMOGRAM_NOMOGRAM_CHART_H
#define ANALYSIS_NOMOGRAM_NOMOGRAM_CHART_H

#include "analysis/choices.h"

enum nomogram_code {
    NOMOGRAM_ICS_OBSTRUCTION,    /* provisional ICS nomogram, men */
    NOMOGRAM_COMPOSITE,          /* obstruction and contractility, men */
    NOMOGRAM_FEMALE_OBSTRUCTION, /* Solomon-Greenwell, women */
    NOMOGRAM_BLAIVAS_GROUTZ,     /* free flow and maximum detrusor pressure, women */
    NOMOGRAM_LIVERPOOL_WOMEN,    /* centiles of the maximum free flow by voided volume */
    NOMOGRAM_LIVERPOOL_MEN,      /* the same; the lines depend on age */
    NOMOGRAM_COUNT
};

enum nomogram_shape {
    NOMOGRAM_STRAIGHT,      /* y = level + slope*x */
    NOMOGRAM_CENTILE_WOMEN, /* Liverpool: the centile `level` at volume x */
    NOMOGRAM_CENTILE_MEN    /* the same, at the chart's age */
};

enum { NOMOGRAM_LINES_MAX = 8, NOMOGRAM_FAMILIES_MAX = 2 };

/* A line between two bands. All strings are static. */
struct nomogram_line {
    const char *code;  /* of the choice that sets its level, or its own: "centile_10" */
    const char *label; /* for the drawing: "BOOI", "10th centile" */
    enum nomogram_shape shape;
    unsigned family;
    bool above_owns; /* a point on the line belongs to the band above it */
    double slope;
    double level;   /* y at x = 0; the standard score of a centile */
    double centile; /* of a centile line, %; otherwise 0 */
};

struct nomogram_axis {
    const char *symbol; /* "Qmax" */
    const char *label;  /* "Maximum flow" */
    const char *unit;   /* UCUM */
    double from;        /* range of the chart */
    double to;
};

struct nomogram_zone {
    const char *code;  /* the class: "equivocal" */
    const char *label; /* "Equivocal" */
};

struct nomogram_chart {
    const char *code; /* "ics_obstruction": also the code of the classification that it gives */
    const char *title;
    const char *source;
    const char *mark; /* how sure the lines are */
    struct nomogram_axis x;
    struct nomogram_axis y;
    double age_years; /* NOMOGRAM_LIVERPOOL_MEN */
    size_t family_count;
    size_t line_count;
    struct nomogram_line lines[NOMOGRAM_LINES_MAX]; /* by family, each from below */
    size_t zone_count;
    const struct nomogram_zone *zones; /* zone of bands (a, b): a * bands of family 1 + b */
};

/* A chart with the limits in use.
 *
 * choices    NULL: the standard limits
 * age_years  completed years, for NOMOGRAM_LIVERPOOL_MEN alone
 *
 * False for NOMOGRAM_LIVERPOOL_MEN without an adult's age. */
bool nomogram_chart(enum nomogram_code code, const struct analysis_choices *choices,
                    double age_years, struct nomogram_chart *ret_chart);

/* Whether a nomogram is for a patient: each is for one sex, all of them for adults.
 *
 * age_years  completed years; negative: not known, which keeps none out */
bool nomogram_is_for(enum nomogram_code code, enum patient_sex sex, double age_years);

/* y of a line at x. NaN where a centile has no flow to give. */
double nomogram_line_y(const struct nomogram_chart *chart, const struct nomogram_line *line,
                       double x);

/* A line as points (x, y) from left to right, cut to the chart's ranges: two for a straight one,
 * `capacity` (at least 2) for a curve. Returns how many; 0 when none of it is on the chart. */
size_t nomogram_line_points(const struct nomogram_chart *chart, const struct nomogram_line *line,
                            double (*points)[2], size_t capacity);

/* How many bands a family has, and the band in which a point lies: the number of its lines, counted
 * from below without a break, that the point is above. */
size_t nomogram_band_count(const struct nomogram_chart *chart, unsigned family);
size_t nomogram_band(const struct nomogram_chart *chart, unsigned family, double x, double y);

/* The zone of a point, also beyond the ranges that the chart shows. x and y must be numbers. */
const struct nomogram_zone *nomogram_zone(const struct nomogram_chart *chart, double x, double y);

#endif
