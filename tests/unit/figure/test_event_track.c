/* Labels of events: none covers another, none leaves the plot. */
#include "figure/event_track.h"
#include "support/assert_close.h"

#include <math.h>
#include <string.h>

enum { EVENTS_MAX = 200 };

static const struct plot PLOT = {{62.0, 0.0, 420.0, 1.0}, 0.0, 600.0, 0.0, 1.0};

static bool overlap(const struct canvas_rect *one, const struct canvas_rect *other)
{
    return one->x < other->x + other->width && other->x < one->x + one->width &&
           one->y < other->y + other->height && other->y < one->y + one->height;
}

static void check(const struct event_track *track)
{
    for (size_t i = 0; i < track->count; i++) {
        const struct event_label *label = &track->labels[i];
        if (!label->has_label) {
            continue;
        }
        assert_true(label->rect.x >= PLOT.area.x - 1e-9);
        assert_true(label->rect.x + label->rect.width <= PLOT.area.x + PLOT.area.width + 1e-9);
        assert_true(label->rect.y + label->rect.height <= track->height_pt + 1e-9);
        for (size_t j = 0; j < i; j++) {
            assert_false(track->labels[j].has_label &&
                         overlap(&label->rect, &track->labels[j].rect));
        }
    }
}

static struct event_track lay_out(struct arena *arena, const struct document_event *events,
                                  size_t count)
{
    struct canvas *canvas = canvas_new(CANVAS_SVG, 500.0, 100.0, 1.0);
    const struct figure_source source = {
        .duration_s = 600.0, .events = events, .event_count = count};
    const struct event_track track = event_track_lay_out(canvas, &source, &PLOT, arena);
    canvas_free(canvas);
    return track;
}

static void few_events_have_their_names(void **state)
{
    static const struct document_event events[] = {
        {.at_s = 10.0, .code = "filling_start", .note = ""},
        {.at_s = 12.0, .code = "cough", .note = ""},
        {.at_s = 300.0, .code = "our_own_mark", .note = ""},
        {.at_s = 400.0, .code = "comment", .note = "moved on the chair"},
        {.at_s = 598.0, .code = "balloon", .note = "", .value = {true, 40.0}},
        {.at_s = 601.0, .code = "cough", .note = ""},
    };
    struct arena *arena = arena_new();
    const struct event_track track = lay_out(arena, events, 6);
    (void)state;
    assert_int_equal(track.count, 5); /* the last lies behind the plot */
    assert_int_equal(track.unlabelled, 0);
    assert_string_equal(track.labels[0].words, "1 Filling starts");
    assert_string_equal(track.labels[1].words, "2 Cough");
    assert_string_equal(track.labels[2].words, "3 Our own mark");
    assert_string_equal(track.labels[3].words, "4 moved on the chair");
    assert_true(track.labels[3].from_person);
    assert_string_equal(track.labels[4].words, "5 Balloon 40\u00a0mL");
    assert_close(track.labels[2].x, 62.0 + 420.0 / 2.0, 1e-9);
    check(&track);
    arena_free(arena);
}

static void many_events_never_overlap(void **state)
{
    static const char *const CODES[] = {"cough", "permission_to_void", "urgency", "strong_desire"};
    struct document_event events[EVENTS_MAX];
    struct arena *arena = arena_new();
    (void)state;
    for (size_t count = 1; count <= EVENTS_MAX; count += 13) {
        for (size_t crowding = 1; crowding <= 64; crowding *= 4) {
            for (size_t i = 0; i < count; i++) {
                events[i] =
                    (struct document_event){.at_s = 600.0 * (double)i / (double)(count * crowding),
                                            .code = CODES[i % 4],
                                            .note = ""};
            }
            const struct event_track track = lay_out(arena, events, count);
            size_t unlabelled = 0;
            assert_int_equal(track.count, count);
            check(&track);
            for (size_t i = 0; i < track.count; i++) {
                unlabelled += track.labels[i].has_label ? 0 : 1;
            }
            assert_int_equal(track.unlabelled, unlabelled);
        }
    }
    arena_free(arena);
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
        cmocka_unit_test(few_events_have_their_names),
        cmocka_unit_test(many_events_never_overlap),
    };
    return cmocka_run_group_tests(tests, NULL, forget_fonts);
}
