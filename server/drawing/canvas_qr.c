#include "drawing/canvas_private.h"

#include <qrencode.h>

enum { QUIET_MODULES = 4 }; // ISO/IEC 18004, 5.3.8

static void trace_modules(struct canvas *canvas, const QRcode *code, struct canvas_point origin,
                          double module_pt)
{
    for (int row = 0; row < code->width; row++) {
        const unsigned char *modules = code->data + (ptrdiff_t)row * code->width;
        for (int from = 0; from < code->width; from++) {
            int to = from;
            while (to < code->width && (modules[to] & 1) != 0) {
                to++;
            }
            if (to > from) {
                cairo_rectangle(canvas->cairo, origin.x + from * module_pt,
                                origin.y + row * module_pt, (to - from) * module_pt, module_pt);
                from = to;
            }
        }
    }
}

bool canvas_qr(struct canvas *canvas, struct canvas_rect square, const char *words)
{
    static const struct canvas_colour white = {1.0, 1.0, 1.0};
    static const struct canvas_colour black = {0.0, 0.0, 0.0};
    QRcode *code = QRcode_encodeString8bit(words, 0, QR_ECLEVEL_M);
    if (code == NULL) {
        return false;
    }
    double module_pt = square.width / (code->width + 2 * QUIET_MODULES);
    struct canvas_point origin = {square.x + QUIET_MODULES * module_pt,
                                  square.y + QUIET_MODULES * module_pt};
    canvas_fill_rect(canvas, square, white);
    canvas_set_colour(canvas, black);
    trace_modules(canvas, code, origin, module_pt);
    cairo_fill(canvas->cairo); // all at once: no seams between neighbours
    QRcode_free(code);
    return true;
}
