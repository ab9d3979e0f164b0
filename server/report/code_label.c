#include "report/code_label.h"

static const struct canvas_colour INK = {0.0, 0.0, 0.0};
static const struct canvas_colour GROUND = {1.0, 1.0, 1.0};

static const double MARGIN_PT = 5.0;
static const double CODE_SIDE_PT = 75.0;
static const double TEXT_X_PT = 84.0;
static const double DOTS_PER_POINT = 300.0 / 72.0; /* of a PNG: what label printers print */

struct label_line {
    const char *words;
    double size_pt;
    bool bold;
    bool from_person;
    int lines_most;
};

static void draw_lines(const struct code_label *label, struct canvas *canvas)
{
    const struct label_line lines[] = {
        {label->clinic_name, 8.0, true, true, 3},
        {"Urodynamic study", 8.0, false, false, 2},
        {label->date, 8.0, false, false, 1},
        {label->short_id, 7.0, false, false, 1},
    };
    double y_pt = MARGIN_PT;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        const struct canvas_run run = {.words = lines[i].words,
                                       .from_person = lines[i].from_person};
        const struct canvas_text text = {
            .runs = &run,
            .run_count = 1,
            .style = {.size_pt = lines[i].size_pt, .bold = lines[i].bold, .colour = INK},
            .width_pt = CODE_LABEL_WIDTH_PT - TEXT_X_PT - MARGIN_PT,
            .lines_most = lines[i].lines_most,
        };
        const struct canvas_point at = {TEXT_X_PT, y_pt};
        y_pt += canvas_draw_text(canvas, at, &text).height + 2.0;
    }
}

bool code_label_write(const struct code_label *label, enum canvas_form form, struct arena *arena,
                      const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr)
{
    struct canvas *canvas =
        canvas_new(form, CODE_LABEL_WIDTH_PT, CODE_LABEL_HEIGHT_PT, DOTS_PER_POINT);
    const struct canvas_rect all = {0.0, 0.0, CODE_LABEL_WIDTH_PT, CODE_LABEL_HEIGHT_PT};
    const struct canvas_rect square = {MARGIN_PT, MARGIN_PT, CODE_SIDE_PT, CODE_SIDE_PT};
    canvas_fill_rect(canvas, all, GROUND);
    draw_lines(label, canvas);
    bool good = canvas_qr(canvas, square, label->address) ||
                error_set(reterr, ERROR_INVALID, "the address does not fit into a code");
    good = good && canvas_finish(canvas, arena, ret_bytes, ret_length, reterr);
    canvas_free(canvas);
    return good;
}
