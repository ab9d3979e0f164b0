/* A figure as an answer: SVG, PNG or PDF, as the client accepts. */
#ifndef API_FIGURE_ANSWER_H
#define API_FIGURE_ANSWER_H

#include "api/api.h"
#include "drawing/canvas.h"

/* Sizes that may be asked for, in points. */
enum { FIGURE_WIDTH_LEAST_PT = 200, FIGURE_HEIGHT_LEAST_PT = 150, FIGURE_SIDE_MOST_PT = 2000 };

struct figure_answer {
    double width_pt;
    double height_pt;
    const char *caption;     /* the title of a PDF */
    const char *alternative; /* what it shows, in words */
    const char *clinic_name;
    int64_t made_at_us; /* the date of a PDF: of what is drawn */
    void (*draw)(void *context, struct canvas *canvas, struct canvas_rect area);
    void *context;
};

/* Reads `width` and `height`, whole numbers of points, into width_pt and height_pt, which hold what
 * they are when nothing is asked for. */
void figure_answer_read_size(const struct http_request *request, struct figure_answer *answer,
                             struct fault_list *faults);

/* Draws and answers, with an ETag of the bytes. The caption and the alternative are in the
 * file: an SVG has them as title and desc, a PDF as its title and the figure's alternative. */
void figure_answer_send(struct http_request *request, struct http_response *response,
                        const struct figure_answer *answer);

#endif
