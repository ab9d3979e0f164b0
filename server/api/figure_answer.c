#include "api/figure_answer.h"

#include "drawing/pdf_finish.h"

#include <string.h>

#define SVG_TYPE "image/svg+xml"
#define PDF_TYPE "application/pdf"

/* An SVG may be opened by itself: it runs nothing and loads nothing, but its shapes carry their
 * styles with them. */
static const char SVG_POLICY[] =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'";

static const double MARGIN_PT = 8.0;

/* Dots of a PNG: two a point, one where the image would be larger than memory should hold often. */
static const double DOTS_PER_POINT = 2.0;
static const double FINE_AREA_PT2 = 1e6;

static const char DRAWING_FAILED[] = "drawing failed";

void figure_answer_read_size(const struct http_request *request, struct figure_answer *answer,
                             struct fault_list *faults)
{
    answer->width_pt = api_query_integer(request, "width", FIGURE_WIDTH_LEAST_PT,
                                         FIGURE_SIDE_MOST_PT, (int)answer->width_pt, faults);
    answer->height_pt = api_query_integer(request, "height", FIGURE_HEIGHT_LEAST_PT,
                                          FIGURE_SIDE_MOST_PT, (int)answer->height_pt, faults);
}

static enum canvas_form form_of(const struct http_request *request)
{
    if (strcmp(request->accepted, SVG_TYPE) == 0) {
        return CANVAS_SVG;
    }
    return strcmp(request->accepted, PDF_TYPE) == 0 ? CANVAS_PDF : CANVAS_PNG;
}

static void release_canvas(void *opaque)
{
    canvas_free(opaque);
}

static bool draw(struct arena *arena, enum canvas_form form, const struct figure_answer *answer,
                 const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr)
{
    const double dots = answer->width_pt * answer->height_pt > FINE_AREA_PT2 ? 1.0 : DOTS_PER_POINT;
    struct canvas *canvas = canvas_new(form, answer->width_pt, answer->height_pt, dots);
    const struct canvas_rect area = {MARGIN_PT, MARGIN_PT, answer->width_pt - 2.0 * MARGIN_PT,
                                     answer->height_pt - 2.0 * MARGIN_PT};
    arena_defer(arena, release_canvas, canvas);
    canvas_tag_begin(canvas, CANVAS_TAG_DOCUMENT, NULL);
    canvas_tag_begin(canvas, CANVAS_TAG_FIGURE, answer->alternative);
    answer->draw(answer->context, canvas, area);
    canvas_tag_end(canvas, CANVAS_TAG_FIGURE);
    canvas_tag_end(canvas, CANVAS_TAG_DOCUMENT);
    return canvas_finish(canvas, arena, ret_bytes, ret_length, reterr);
}

static bool finish_pdf(struct arena *arena, const struct figure_answer *answer,
                       const unsigned char **bytes, size_t *length, struct error *reterr)
{
    const struct pdf_figure figure = {
        .alternative = answer->alternative,
        .area = {0.0, 0.0, answer->width_pt, answer->height_pt},
    };
    const struct pdf_facts facts = {.title = answer->caption,
                                    .language = "en",
                                    .author = answer->clinic_name,
                                    .made_at_us = answer->made_at_us,
                                    .figures = &figure,
                                    .figure_count = 1};
    return pdf_finish(arena, *bytes, *length, &facts, bytes, length, reterr);
}

/* Caption and alternative as an SVG has them, right after its root begins (SVG 2, 5.8). */
static bool describe_svg(struct arena *arena, const struct figure_answer *answer,
                         const unsigned char **bytes, size_t *length, struct error *reterr)
{
    enum { SVG_BYTES_MAX = 64 * 1024 * 1024 };

    const char *whole = arena_strndup(arena, (const char *)*bytes, *length);
    const char *root = strstr(whole, "<svg");
    const char *end = root == NULL ? NULL : strchr(root, '>');
    struct text text;
    if (end == NULL) {
        return error_set(reterr, ERROR_INTERNAL, "%s", DRAWING_FAILED);
    }
    text_init(&text, arena, SVG_BYTES_MAX);
    text_append_bytes(&text, whole, (size_t)(root - whole));
    text_append(&text, "<svg role=\"img\"");
    text_append_bytes(&text, root + strlen("<svg"), (size_t)(end + 1 - root) - strlen("<svg"));
    text_append(&text, "\n<title>");
    text_append_html(&text, answer->caption);
    text_append(&text, "</title>\n<desc>");
    text_append_html(&text, answer->alternative);
    text_append(&text, "</desc>");
    text_append(&text, end + 1);
    if (text.overflowed) {
        return error_set(reterr, ERROR_INTERNAL, "%s", DRAWING_FAILED);
    }
    *bytes = (const unsigned char *)text.data;
    *length = text.length;
    return true;
}

void figure_answer_send(struct http_request *request, struct http_response *response,
                        const struct figure_answer *answer)
{
    const enum canvas_form form = form_of(request);
    const unsigned char *bytes = NULL;
    size_t length = 0;
    struct error error = {0};
    const bool good =
        draw(request->arena, form, answer, &bytes, &length, &error) &&
        (form != CANVAS_PDF || finish_pdf(request->arena, answer, &bytes, &length, &error)) &&
        (form != CANVAS_SVG || describe_svg(request->arena, answer, &bytes, &length, &error));
    if (!good) {
        api_fail(request, response, &error);
        return;
    }
    http_respond(response, 200, request->accepted, bytes, length);
    if (form == CANVAS_SVG) {
        http_response_header(response, "Content-Security-Policy", SVG_POLICY);
    }
    api_set_content_etag(request, response);
}
