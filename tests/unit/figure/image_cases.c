#include "image_cases.h"

#include "sources.h"
#include "support/pressure_flow.h"
#include "support/profile_case.h"

#include <math.h>

/* Lengths that a shift is a part of. */
static const double VOIDING_ABOUT_S = 60.0;
static const double PULL_ABOUT_S = 60.0;

typedef struct drawn image_draw(struct arena *arena, double shift, enum canvas_form form);

struct image_case {
    const char *name;
    image_draw *draw;
};

static void close_synth(void *opaque)
{
    synth_close(opaque);
}

static struct drawn draw_kind(struct arena *arena, const struct figure_source *source,
                              enum figure_kind kind, const char *code, enum canvas_form form)
{
    struct figure figure = drawn_find(arena, source, kind, code);
    figure.width_pt = IMAGE_WIDTH_PT;
    figure.height_pt = IMAGE_HEIGHT_PT;
    return drawn_figure(arena, source, &figure, form);
}

/* A man's pressure-flow study without noise. */
static struct figure_source pressure_flow_source(struct arena *arena)
{
    struct synth *synth = arena_alloc(arena, sizeof *synth);
    pressure_flow_open(synth, (struct pressure_flow_case){.rate_hz = 20.0});
    arena_defer(arena, close_synth, synth);
    synth->recording.conditions.post_void_residual_ml =
        (struct optional_number){.known = true, .value = 40.0};
    return sources_of_recording(arena, &synth->recording);
}

/* Moves the traces of a signal (SIGNAL_NONE: of all) by seconds, but not the numbers that were
 * found in them. */
static struct figure_source moved(struct arena *arena, struct figure_source source,
                                  enum signal_kind signal, double by_s)
{
    struct figure_traces *traces = arena_array(arena, source.traces_count, sizeof *traces);
    for (size_t i = 0; i < source.traces_count; i++) {
        struct traces_channel *channels =
            arena_array(arena, source.traces[i].channel_count, sizeof *channels);
        for (size_t j = 0; j < source.traces[i].channel_count; j++) {
            channels[j] = source.traces[i].channels[j];
            channels[j].start_s +=
                signal == SIGNAL_NONE || signal == channels[j].signal ? by_s : 0.0;
        }
        traces[i] = source.traces[i];
        traces[i].channels = channels;
    }
    source.traces = traces;
    return source;
}

static struct drawn draw_traces(struct arena *arena, double shift, enum canvas_form form)
{
    const struct figure_source still = pressure_flow_source(arena);
    const struct figure_source source = moved(arena, still, SIGNAL_NONE, shift * still.duration_s);
    return draw_kind(arena, &source, FIGURE_TRACES, NULL, form);
}

/* The flow alone moves: pressure and flow no longer belong together. */
static struct drawn draw_loop(struct arena *arena, double shift, enum canvas_form form)
{
    const struct figure_source source =
        moved(arena, pressure_flow_source(arena), SIGNAL_FLOW, shift * VOIDING_ABOUT_S);
    return draw_kind(arena, &source, FIGURE_LOOP, NULL, form);
}

static struct drawn draw_contractility(struct arena *arena, double shift, enum canvas_form form)
{
    const struct figure_source source =
        moved(arena, pressure_flow_source(arena), SIGNAL_FLOW, shift * VOIDING_ABOUT_S);
    return draw_kind(arena, &source, FIGURE_CONTRACTILITY, NULL, form);
}

static struct drawn draw_nomogram(struct arena *arena, double shift, enum canvas_form form)
{
    const char *json = arena_printf(
        arena,
        "{\"sections\":{\"voiding\":{\"qmax\":{\"value\":%g},\"pdet_qmax\":{\"value\":80}}},"
        "\"classifications\":[{\"code\":\"composite\",\"class\":\"obstructed_normal\"}]}",
        9.0 + shift * 30.0);
    const struct figure_source source = {.type = RECORDING_PRESSURE_FLOW,
                                         .duration_s = 100.0,
                                         .analysis = sources_analysis(arena, json),
                                         .sex = SEX_MALE,
                                         .age_years = 60.0,
                                         .is_preliminary = true};
    return draw_kind(arena, &source, FIGURE_NOMOGRAM, "composite", form);
}

static struct drawn draw_profile(struct arena *arena, double shift, enum canvas_form form)
{
    struct synth *synth = arena_alloc(arena, sizeof *synth);
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    how.pulls = 3;
    how.rate_hz = 20.0;
    profile_case_open(synth, &how, &truth);
    arena_defer(arena, close_synth, synth);
    struct figure_source source = sources_of_recording(arena, &synth->recording);
    source = moved(arena, source, SIGNAL_NONE, shift * PULL_ABOUT_S);
    return draw_kind(arena, &source, FIGURE_PROFILE, NULL, form);
}

static struct drawn draw_trend(struct arena *arena, double shift, enum canvas_form form)
{
    static const int64_t DAY_US = INT64_C(24) * 3600 * 1000000;
    static const struct figure_limit limits[] = {{"BOOI above this: obstructed (men)", 40.0}};
    const struct figure_visit visits[] = {
        {.at_us = 20000 * DAY_US, .value = 68.0 + shift * 70.0, .is_signed = true},
        {.at_us = 20090 * DAY_US, .value = (double)NAN},
        {.at_us = 20180 * DAY_US, .value = 31.0 + shift * 70.0, .doubtful = true},
        {.at_us = 20360 * DAY_US, .value = 24.0 + shift * 70.0},
    };
    const struct figure_trend trend = {.label = "Bladder outlet obstruction index (BOOI)",
                                       .unit = "1",
                                       .report_step = 1.0,
                                       .visit_count = 4,
                                       .visits = visits,
                                       .limit_count = 1,
                                       .limits = limits};
    return drawn_trend(arena, &trend, IMAGE_WIDTH_PT, IMAGE_HEIGHT_PT, form);
}

static const struct image_case cases[] = {
    {"traces", draw_traces},     {"loop", draw_loop},       {"contractility", draw_contractility},
    {"nomogram", draw_nomogram}, {"profile", draw_profile}, {"trend", draw_trend},
};

size_t image_cases_count(void)
{
    return sizeof cases / sizeof cases[0];
}

const char *image_case_name(size_t index)
{
    return cases[index].name;
}

struct drawn image_case_draw(struct arena *arena, size_t index, double shift, enum canvas_form form)
{
    return cases[index].draw(arena, shift, form);
}
