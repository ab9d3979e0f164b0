/* The figures of a report: which of them a recording has, what each shows in words, and drawing
 * them on a canvas.
 *
 * A figure is drawn from what was recorded and from the analysis document; nothing is computed
 * anew that the document has a number for, and what the document lacks is not drawn. Everything
 * reads in black and white: lines have labels, markers have shapes.
 *
 * All of it is made on the caller's arena; nothing is freed or kept. */
#ifndef FIGURE_FIGURE_H
#define FIGURE_FIGURE_H

#include "analysis/nomogram/nomogram_chart.h"
#include "base/text.h"
#include "drawing/canvas.h"
#include "formats/recording_json.h"
#include "formats/traces_binary.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum figure_kind {
    FIGURE_TRACES,        /* every signal over time, with events and what was found */
    FIGURE_VOIDING,       /* the same, enlarged: the voiding */
    FIGURE_LOOP,          /* detrusor pressure against flow, in order of time */
    FIGURE_NOMOGRAM,      /* code: of the nomogram */
    FIGURE_CONTRACTILITY, /* Watts factor against the volume in the bladder */
    FIGURE_PROFILE,       /* urethral pressure profiles by position, and their mean */
    FIGURE_TRANSMISSION,  /* pressure transmission at coughs by position */
    FIGURE_KIND_COUNT
};

/* "traces", "voiding", ...; NULL when out of range. FIGURE_KIND_COUNT for any other name. */
const char *figure_kind_name(enum figure_kind kind);
enum figure_kind figure_kind_from_name(const char *name);

struct figure_span {
    double from_s;
    double to_s;
};

/* Traces of one span, each signal at most once. */
struct figure_traces {
    struct figure_span span;
    const struct traces_channel *channels;
    size_t channel_count;
};

/* What is known of a recording. Everything is borrowed. */
struct figure_source {
    enum recording_type type;
    double duration_s;
    /* The whole recording first, then, finer, the spans that figure_spans() names. A figure is
     * drawn from the narrowest that covers it. */
    const struct figure_traces *traces;
    size_t traces_count;
    const struct document_event *events; /* sorted by time */
    size_t event_count;
    /* The analysis document; NULL: none, only traces exist then. The limits of the charts are those
     * that it states under "choices". */
    const json_t *analysis;
    enum patient_sex sex;
    double age_years;    /* completed years; negative: not known */
    bool is_preliminary; /* not signed: every figure says so */
};

enum { FIGURE_SPANS_MAX = 8, FIGURES_MAX = 16 };

/* The spans of which a source should hold traces of their own, besides the whole recording: the
 * voiding, and each pull of a profile. Needs `analysis` and `duration_s` alone. Returns how many.
 */
size_t figure_spans(const struct figure_source *source, struct figure_span spans[FIGURE_SPANS_MAX]);

/* Bins that a figure of the whole recording is drawn from, and the samples or bins of a span. */
enum { FIGURE_POINTS_WHOLE = 1150, FIGURE_POINTS_SPAN = 6000 };

struct figure {
    enum figure_kind kind;
    enum nomogram_code nomogram; /* FIGURE_NOMOGRAM */
    const char *code;            /* what tells it from others of its kind: a nomogram's; "" */
    const char *caption;         /* one line, without a full stop at its end */
    struct figure_span span;     /* what its time axis shows; a caller may narrow it */
    double height_pt;            /* that suits `width_pt` */
    double width_pt;             /* full width of a page's text, or half of it */
    bool is_half;                /* two of them stand side by side */
};

/* The figures that a source has, in the order of a report. Those whose numbers are not there, and
 * charts that are not for this patient's sex and age, do not exist. At most FIGURES_MAX. */
size_t figure_list(const struct figure_source *source, struct arena *arena,
                   struct figure figures[FIGURES_MAX]);

/* Draws a figure into a rectangle: everything but the caption. It does not tag: a caller that
 * makes PDF puts it within CANVAS_TAG_FIGURE with its alternative. */
void figure_draw(const struct figure_source *source, const struct figure *figure,
                 struct arena *arena, struct canvas *canvas, struct canvas_rect area);

/* What the figure shows, in words and with its numbers, plain text in sentences: for who does not
 * see it, and for plain text. On the arena. */
const char *figure_alternative(const struct figure_source *source, const struct figure *figure,
                               struct arena *arena);

#endif
