/* Figures against the images that are kept of them, and SVG, as another renderer draws it, against
 * our PNG. */
#include "image_cases.h"
#include "support/assert_close.h"

#include <cairo.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A dot differs when one of its colours does by more than this of 255. */
enum { DIFFERENT = 40, CLEARLY_DIFFERENT = 128 };

/* Fonts and cairo may differ by a version; less than this share of dots is no change. */
static const double SHARE_MOST = 0.002;

/* Data that moved by this part of the axis must be noticed. */
static const double SHIFT = 0.02;

/* Two renderers smooth edges in their own ways. */
static const double RENDERER_SHARE_MOST = 0.01;

struct image {
    cairo_surface_t *surface;
    int width;
    int height;
    int stride;
    const unsigned char *dots; /* four bytes each */
};

static struct image image_of(cairo_surface_t *surface)
{
    assert_int_equal(cairo_surface_status(surface), CAIRO_STATUS_SUCCESS);
    return (struct image){
        surface, cairo_image_surface_get_width(surface), cairo_image_surface_get_height(surface),
        cairo_image_surface_get_stride(surface), cairo_image_surface_get_data(surface)};
}

static struct image load(const char *path)
{
    return image_of(cairo_image_surface_create_from_png(path));
}

struct reading {
    const struct drawn *drawn;
    size_t at;
};

static cairo_status_t read_bytes(void *opaque, unsigned char *data, unsigned int length)
{
    struct reading *reading = opaque;
    if (reading->at + length > reading->drawn->length) {
        return CAIRO_STATUS_READ_ERROR;
    }
    memcpy(data, reading->drawn->bytes + reading->at, length);
    reading->at += length;
    return CAIRO_STATUS_SUCCESS;
}

static struct image decode(const struct drawn *drawn)
{
    struct reading reading = {drawn, 0};
    return image_of(cairo_image_surface_create_from_png_stream(read_bytes, &reading));
}

/* The share of dots that differ by more than `most` of 255 in any colour. */
static double difference(const struct image *one, const struct image *other, int most)
{
    size_t different = 0;
    assert_int_equal(one->width, other->width);
    assert_int_equal(one->height, other->height);
    for (int y = 0; y < one->height; y++) {
        for (int x = 0; x < one->width; x++) {
            const unsigned char *a = one->dots + (size_t)y * (size_t)one->stride + 4 * (size_t)x;
            const unsigned char *b =
                other->dots + (size_t)y * (size_t)other->stride + 4 * (size_t)x;
            const bool same =
                abs(a[0] - b[0]) <= most && abs(a[1] - b[1]) <= most && abs(a[2] - b[2]) <= most;
            different += same ? 0 : 1;
        }
    }
    return (double)different / ((double)one->width * (double)one->height);
}

static double difference_from_reference(size_t index, double shift)
{
    struct arena *arena = arena_new();
    const char *path =
        arena_printf(arena, "%s/%s.png", PENSTOCK_FIGURE_REFERENCE, image_case_name(index));
    const struct drawn drawn = image_case_draw(arena, index, shift, CANVAS_PNG);
    const struct image now = decode(&drawn);
    const struct image reference = load(path);
    const double share = difference(&now, &reference, DIFFERENT);
    cairo_surface_destroy(now.surface);
    cairo_surface_destroy(reference.surface);
    arena_free(arena);
    return share;
}

static void figures_look_as_they_did(void **state)
{
    (void)state;
    for (size_t i = 0; i < image_cases_count(); i++) {
        const double share = difference_from_reference(i, 0.0);
        print_message("%s: %.4f %% of dots differ\n", image_case_name(i), 100.0 * share);
        assert_true(share <= SHARE_MOST);
    }
}

/* Would the comparison notice? */
static void what_moved_is_noticed(void **state)
{
    (void)state;
    for (size_t i = 0; i < image_cases_count(); i++) {
        const double share = difference_from_reference(i, SHIFT);
        print_message("%s, moved: %.4f %% of dots differ\n", image_case_name(i), 100.0 * share);
        assert_true(share > SHARE_MOST);
    }
}

/* Renders an SVG with rsvg-convert, on white, as many dots as the PNG has. */
static struct image render_elsewhere(struct arena *arena, const struct drawn *svg)
{
    char from[] = "/tmp/penstock-figure-XXXXXX";
    const int descriptor = mkstemp(from);
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, svg->bytes, svg->length), (ssize_t)svg->length);
    assert_int_equal(close(descriptor), 0);
    const char *to = arena_printf(arena, "%s.png", from);
    const char *command = arena_printf(
        arena, "rsvg-convert --width %d --height %d --background-color white --output %s %s",
        (int)(2.0 * IMAGE_WIDTH_PT), (int)(2.0 * IMAGE_HEIGHT_PT), to, from);
    /* The program has one thread. NOLINTNEXTLINE(concurrency-mt-unsafe) */
    assert_int_equal(system(command), 0);
    const struct image image = load(to);
    (void)unlink(from);
    (void)unlink(to);
    return image;
}

static void another_renderer_draws_the_same(void **state)
{
    (void)state;
    for (size_t i = 0; i < image_cases_count(); i++) {
        struct arena *arena = arena_new();
        const struct drawn png = image_case_draw(arena, i, 0.0, CANVAS_PNG);
        const struct drawn svg = image_case_draw(arena, i, 0.0, CANVAS_SVG);
        const struct image ours = decode(&png);
        const struct image theirs = render_elsewhere(arena, &svg);
        const double share = difference(&ours, &theirs, CLEARLY_DIFFERENT);
        print_message("%s, by rsvg: %.4f %% of dots differ\n", image_case_name(i), 100.0 * share);
        assert_true(share <= RENDERER_SHARE_MOST);
        cairo_surface_destroy(ours.surface);
        cairo_surface_destroy(theirs.surface);
        arena_free(arena);
    }
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
        cmocka_unit_test(figures_look_as_they_did),
        cmocka_unit_test(what_moved_is_noticed),
        cmocka_unit_test(another_renderer_draws_the_same),
    };
    return cmocka_run_group_tests(tests, NULL, forget_fonts);
}
