#include "report/document_pdf_parts.h"

#include <math.h>

const struct canvas_colour paper_ink = {0.078, 0.129, 0.122};
const struct canvas_colour paper_soft = {0.275, 0.337, 0.325};
const struct canvas_colour paper_rule = {0.812, 0.851, 0.839};
const struct canvas_colour paper_accent = {0.043, 0.365, 0.400};
const struct canvas_colour paper_caution_ink = {0.310, 0.227, 0.0};
const struct canvas_colour paper_caution_ground = {0.992, 0.941, 0.812};
const struct canvas_colour paper_caution_edge = {0.725, 0.541, 0.0};

/* A text up to this number of lines is never divided; a longer one not after its first line and not
 * before its last. */
enum { WHOLE_LINES = 3, KEPT_LINES = 2 };

struct canvas_text paper_text(struct paper *paper, const struct document_span *spans, size_t count,
                              struct canvas_style style, double width_pt)
{
    struct canvas_run *runs = arena_array(paper->arena, 2 * count, sizeof *runs);
    size_t taken = 0;
    for (size_t i = 0; i < count; i++) {
        runs[taken++] = (struct canvas_run){.words = spans[i].words,
                                            .bold = spans[i].strong,
                                            .italic = spans[i].emphasis,
                                            .from_person = spans[i].from_person};
        if (spans[i].ends_line && i + 1 < count) {
            runs[taken++] = (struct canvas_run){.words = "\n"};
        }
    }
    return (struct canvas_text){
        .runs = runs, .run_count = taken, .style = style, .width_pt = width_pt};
}

struct canvas_text paper_words(struct paper *paper, const char *words, struct canvas_style style,
                               double width_pt)
{
    return paper_text(paper, &(struct document_span){.words = words}, 1, style, width_pt);
}

double paper_text_height(struct paper *paper, const struct canvas_text *text)
{
    return canvas_text_size(paper->canvas, text).height;
}

void paper_draw(struct paper *paper, double x, double y, const struct canvas_text *text)
{
    if (paper->draws) {
        (void)canvas_draw_text(paper->canvas, (struct canvas_point){x, y}, text);
    }
}

static struct paper_part measure(struct paper *paper, const struct canvas_text *text, size_t first,
                                 double room)
{
    struct paper_part part = {.first = first};
    part.is_last = !canvas_draw_lines(paper->canvas, (struct canvas_point){0.0, 0.0}, text, first,
                                      room, true, &part.next, &part.height);
    return part;
}

double paper_first_lines(struct paper *paper, const struct canvas_text *text)
{
    struct paper_part all = measure(paper, text, 0, (double)INFINITY);
    return all.next <= WHOLE_LINES ? all.height : all.height * KEPT_LINES / (double)all.next;
}

struct paper_part paper_find_part(struct paper *paper, const struct canvas_text *text, size_t first,
                                  double room)
{
    struct paper_part part = measure(paper, text, first, room);
    if (part.is_last) {
        return part;
    }
    size_t count = measure(paper, text, 0, (double)INFINITY).next;
    if (count - part.next < KEPT_LINES && part.next - first > KEPT_LINES) {
        double line = part.height / (double)(part.next - first);
        part = measure(paper, text, first, part.height - line / 2.0);
    }
    return part;
}

void paper_draw_part(struct paper *paper, double x, double y, const struct canvas_text *text,
                     const struct paper_part *part)
{
    if (paper->draws) {
        size_t next = 0;
        double taken = 0.0;
        (void)canvas_draw_lines(paper->canvas, (struct canvas_point){x, y}, text, part->first,
                                part->height + 0.01, false, &next, &taken);
    }
}
