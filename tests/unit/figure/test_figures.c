/* Which figures a source has, and that what they compute agrees with the document. */
#include "drawn.h"
#include "figure/flow_course.h"
#include "figure/pull_curve.h"
#include "sources.h"
#include "support/assert_close.h"
#include "support/pressure_flow.h"
#include "support/profile_case.h"

#include "analysis/voiding/watts.h"

#include <math.h>
#include <string.h>

enum { NAMES_MAX = 1000 };

static const char *names_of(struct arena *arena, const struct figure_source *source)
{
    struct figure figures[FIGURES_MAX];
    struct text names;
    const size_t count = figure_list(source, arena, figures);
    text_init(&names, arena, NAMES_MAX);
    for (size_t i = 0; i < count; i++) {
        text_printf(&names, "%s%s%s%s", i > 0 ? ", " : "", figure_kind_name(figures[i].kind),
                    figures[i].code[0] == '\0' ? "" : " ", figures[i].code);
    }
    return names.data;
}

struct study_fixture {
    struct arena *arena;
    struct synth synth;
};

static void open_study(struct study_fixture *fixture)
{
    fixture->arena = arena_new();
    pressure_flow_open(&fixture->synth, (struct pressure_flow_case){.rate_hz = 20.0});
    fixture->synth.recording.conditions.post_void_residual_ml =
        (struct optional_number){.known = true, .value = 40.0};
}

static void close_study(struct study_fixture *fixture)
{
    synth_close(&fixture->synth);
    arena_free(fixture->arena);
}

static void a_man_has_mens_charts(void **state)
{
    struct study_fixture fixture;
    open_study(&fixture);
    (void)state;
    const struct figure_source source =
        sources_of_recording(fixture.arena, &fixture.synth.recording);
    assert_string_equal(names_of(fixture.arena, &source),
                        "traces, voiding, loop, nomogram ics_obstruction, nomogram composite, "
                        "contractility");
    close_study(&fixture);
}

static void charts_are_for_whom_they_are_for(void **state)
{
    struct study_fixture fixture;
    open_study(&fixture);
    (void)state;
    struct figure_source source = sources_of_recording(fixture.arena, &fixture.synth.recording);
    static const char REST[] = "traces, voiding, loop, contractility";
    source.sex = SEX_FEMALE;
    assert_string_equal(names_of(fixture.arena, &source), REST);
    source.sex = SEX_UNKNOWN;
    assert_string_equal(names_of(fixture.arena, &source), REST);
    source.sex = SEX_MALE;
    source.age_years = 17.0;
    assert_string_equal(names_of(fixture.arena, &source), REST);
    source.age_years = -1.0;
    assert_non_null(strstr(names_of(fixture.arena, &source), "ics_obstruction"));
    close_study(&fixture);
}

static void what_is_not_computed_is_not_drawn(void **state)
{
    struct study_fixture fixture;
    open_study(&fixture);
    (void)state;
    fixture.synth.recording.conditions.post_void_residual_ml.known = false;
    struct figure_source source = sources_of_recording(fixture.arena, &fixture.synth.recording);
    assert_null(strstr(names_of(fixture.arena, &source), "contractility"));
    source.analysis = NULL;
    assert_string_equal(names_of(fixture.arena, &source), "traces");
    source.traces_count = 0;
    assert_string_equal(names_of(fixture.arena, &source), "");
    close_study(&fixture);
}

static void names_of_kinds_are_found_again(void **state)
{
    (void)state;
    for (int i = 0; i < FIGURE_KIND_COUNT; i++) {
        assert_int_equal(figure_kind_from_name(figure_kind_name((enum figure_kind)i)), i);
    }
    assert_int_equal(figure_kind_from_name("cake"), FIGURE_KIND_COUNT);
    assert_null(figure_kind_name(FIGURE_KIND_COUNT));
}

static double number(const struct figure_source *source, const char *section, const char *code,
                     const char *member)
{
    const json_t *sections = json_object_get(source->analysis, "sections");
    const json_t *measure = json_object_get(json_object_get(sections, section), code);
    return json_number_value(json_object_get(measure, member));
}

/* What is drawn of the voiding passes through what the document says. */
static void the_course_agrees_with_the_document(void **state)
{
    struct study_fixture fixture;
    open_study(&fixture);
    (void)state;
    const struct figure_source source =
        sources_of_recording(fixture.arena, &fixture.synth.recording);
    const struct flow_course course = flow_course_of(&source, 3.0, fixture.arena);
    const double delay_s = number(&source, "voiding", "flow_delay_s", "value");
    const double qmax_s = number(&source, "voiding", "qmax", "at_s");
    double qmax = 0.0;
    double pdet = 0.0;
    double watts = 0.0;
    assert_true(course.count > 100);
    for (size_t i = 0; i < course.count; i++) {
        const struct flow_moment *moment = &course.moments[i];
        const double volume_ml = 40.0 + moment->left_ml;
        qmax = fmax(qmax, moment->flow_ml_s);
        if (fabs(moment->at_s - qmax_s) <= course.step_s / 2.0) {
            pdet = moment->pdet_cmh2o;
        }
        if (moment->flow_ml_s >= 0.5) {
            watts = fmax(watts, watts_factor(moment->pdet_cmh2o, moment->flow_ml_s, volume_ml));
        }
    }
    assert_close(qmax, number(&source, "voiding", "qmax", "value"), 0.05);
    assert_close(pdet, number(&source, "voiding", "pdet_qmax", "value"), 0.3);
    assert_close(watts, number(&source, "voiding", "watts_factor_max", "value"), 0.1);
    assert_close(course.moments[0].left_ml, number(&source, "voiding", "voided_volume", "value"),
                 3.0);
    assert_close(delay_s, pressure_flow_truth().flow_delay_s, 1e-6);
    close_study(&fixture);
}

static void pulls_lie_over_one_another(void **state)
{
    struct arena *arena = arena_new();
    struct synth synth;
    struct profile_case how = profile_case_plain();
    struct profile_case_truth truth;
    (void)state;
    how.pulls = 3;
    profile_case_open(&synth, &how, &truth);
    const struct figure_source source = sources_of_recording(arena, &synth.recording);
    const struct pull_curves pulls = pull_curves_of(&source, arena);
    assert_int_equal(pulls.count, 3);
    assert_true(pulls.is_closure);
    assert_true(pulls.is_aligned);
    for (size_t i = 0; i < pulls.count; i++) {
        const struct pull_curve *curve = &pulls.curves[i];
        double peak = 0.0;
        double at_mm = 0.0;
        for (size_t j = 0; j < curve->count; j++) {
            at_mm = curve->pressure[j] > peak ? curve->position_mm[j] : at_mm;
            peak = fmax(peak, curve->pressure[j]);
        }
        assert_close(peak, truth.closure, 0.2);
        assert_close(at_mm, truth.to_peak_mm, 0.3);
        assert_close(pull_curve_at(curve, 0.0), 0.0, 1.5);
        assert_close(pull_curve_at(curve, truth.length_mm), 0.0, 1.5);
        assert_true(isnan(pull_curve_at(curve, -1000.0)));
    }
    synth_close(&synth);
    arena_free(arena);
}

static void a_figure_says_that_it_is_preliminary(void **state)
{
    struct study_fixture fixture;
    open_study(&fixture);
    (void)state;
    struct figure_source source = sources_of_recording(fixture.arena, &fixture.synth.recording);
    struct figure figures[FIGURES_MAX];
    const size_t count = figure_list(&source, fixture.arena, figures);
    for (size_t i = 0; i < count; i++) {
        source.is_preliminary = true;
        const char *before = figure_alternative(&source, &figures[i], fixture.arena);
        const struct drawn one = drawn_figure(fixture.arena, &source, &figures[i], CANVAS_SVG);
        source.is_preliminary = false;
        const char *after = figure_alternative(&source, &figures[i], fixture.arena);
        const struct drawn other = drawn_figure(fixture.arena, &source, &figures[i], CANVAS_SVG);
        assert_int_equal(strncmp(before, "Preliminary. ", 13), 0);
        assert_string_equal(before + 13, after);
        assert_true(one.length != other.length || memcmp(one.bytes, other.bytes, one.length) != 0);
    }
    close_study(&fixture);
}

/* Odd sizes and empty spans draw something, and nothing breaks. */
static void any_size_and_span_can_be_drawn(void **state)
{
    static const double SIZES_PT[] = {200.0, 150.0, 2000.0, 1.0};
    struct study_fixture fixture;
    open_study(&fixture);
    (void)state;
    const struct figure_source source =
        sources_of_recording(fixture.arena, &fixture.synth.recording);
    struct figure figures[FIGURES_MAX];
    const size_t count = figure_list(&source, fixture.arena, figures);
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < sizeof SIZES_PT / sizeof SIZES_PT[0]; j++) {
            struct figure figure = figures[i];
            figure.width_pt = SIZES_PT[j];
            figure.height_pt = SIZES_PT[(j + 1) % (sizeof SIZES_PT / sizeof SIZES_PT[0])];
            figure.span = (struct figure_span){10.0, 10.2};
            assert_true(drawn_figure(fixture.arena, &source, &figure, CANVAS_SVG).length > 0);
        }
    }
    close_study(&fixture);
}

static int forget_fonts(void **state)
{
    (void)state;
    canvas_forget_fonts();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_man_has_mens_charts),
        cmocka_unit_test(charts_are_for_whom_they_are_for),
        cmocka_unit_test(what_is_not_computed_is_not_drawn),
        cmocka_unit_test(names_of_kinds_are_found_again),
        cmocka_unit_test(the_course_agrees_with_the_document),
        cmocka_unit_test(pulls_lie_over_one_another),
        cmocka_unit_test(a_figure_says_that_it_is_preliminary),
        cmocka_unit_test(any_size_and_span_can_be_drawn),
    };
    return cmocka_run_group_tests(tests, NULL, forget_fonts);
}
