/* Codes, read by zbar. */
#include "drawings.h"
#include "support/outside.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static const char ADDRESS[] =
    "https://clinic.example/r/0b5d66aa-1f2e-7c3d-8a4b-123456789abc?x=1&y=2";

static void steps_code(struct canvas *canvas)
{
    assert_true(canvas_qr(canvas, (struct canvas_rect){100, 50, 100, 100}, ADDRESS));
}

static void test_a_camera_reads_it(void **state)
{
    (void)state;
    struct drawing png = drawing_make(CANVAS_PNG, steps_code);
    outside_says(png.bytes, png.length, "zbarimg -q --raw \"$FILE\"", ADDRESS);
    struct canvas_rect ink = drawing_ink(&png);
    assert_true(ink.x > 103.0 && ink.y > 53.0); // the quiet zone is within the square
    assert_true(ink.x + ink.width < 197.0 && ink.y + ink.height < 147.0);
    drawing_free(&png);
    struct drawing svg = drawing_make(CANVAS_SVG, steps_code);
    outside_says(svg.bytes, svg.length,
                 "rsvg-convert -z 3 -b white \"$FILE\" -o \"$FILE.png\" && "
                 "zbarimg -q --raw \"$FILE.png\"; s=$?; rm -f \"$FILE.png\"; exit $s",
                 ADDRESS);
    drawing_free(&svg);
}

static void steps_too_much(struct canvas *canvas)
{
    char words[4000];
    memset(words, 'x', sizeof words - 1);
    words[sizeof words - 1] = '\0';
    assert_false(canvas_qr(canvas, (struct canvas_rect){0, 0, 100, 100}, words));
    assert_false(canvas_qr(canvas, (struct canvas_rect){0, 0, 100, 100}, ""));
}

static void test_too_much_for_a_code(void **state)
{
    (void)state;
    struct drawing svg = drawing_make(CANVAS_SVG, steps_too_much);
    drawing_lacks(&svg, "<path");
    drawing_free(&svg);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_camera_reads_it),
        cmocka_unit_test(test_too_much_for_a_code),
    };
    return cmocka_run_group_tests(tests, NULL, drawing_end);
}
