/* The figures of a recording: which there are, and one of them drawn. */
#include "api/api.h"
#include "api/figure_answer.h"
#include "api/figure_load.h"
#include "api/handlers.h"
#include "api/recording_access.h"
#include "formats/json_writer.h"

#include <limits.h>
#include <math.h>
#include <string.h>

enum { FIGURES_ANSWER_LIMIT = 4 * 1024 * 1024, NAMES_LIMIT = 1024 };

/* Less than this cannot be told apart on paper. */
static const double SPAN_S_LEAST = 0.1;

struct figure_query {
    enum figure_kind kind;
    const char *code; /* "" when none is asked for */
    bool has_span;
    struct figure_span span;
    int revision; /* 0: the newest */
};

static bool may_have_code(enum figure_kind kind)
{
    return kind == FIGURE_NOMOGRAM;
}

static bool may_have_span(enum figure_kind kind)
{
    return kind == FIGURE_TRACES || kind == FIGURE_VOIDING;
}

static const char *kind_names(struct arena *arena)
{
    struct text names;
    text_init(&names, arena, NAMES_LIMIT);
    for (int i = 0; i < FIGURE_KIND_COUNT; i++) {
        text_append(&names, i > 0 ? ", " : "");
        text_append(&names, figure_kind_name((enum figure_kind)i));
    }
    return names.data;
}

static bool is_nomogram(const char *code)
{
    for (int i = 0; i < NOMOGRAM_COUNT; i++) {
        struct nomogram_chart chart;
        /* An adult's age, so that every chart is there. */
        if (nomogram_chart((enum nomogram_code)i, NULL, 50.0, &chart) &&
            strcmp(chart.code, code) == 0) {
            return true;
        }
    }
    return false;
}

static void read_kind(const struct http_request *request, struct figure_query *query,
                      struct fault_list *faults)
{
    const char *kind = http_request_query(request, "kind");
    const char *code = http_request_query(request, "code");
    query->code = code == NULL ? "" : code;
    query->kind = kind == NULL ? FIGURE_KIND_COUNT : figure_kind_from_name(kind);
    if (query->kind == FIGURE_KIND_COUNT) {
        fault_add(faults, "?kind", "Must be one of: %s.", kind_names(request->arena));
    } else if (may_have_code(query->kind) && code == NULL) {
        fault_add(faults, "?code", "Is needed: which nomogram.");
    } else if (!may_have_code(query->kind) && code != NULL) {
        fault_add(faults, "?code", "Belongs to kind=nomogram.");
    }
    if (code != NULL && !is_nomogram(code) &&
        (query->kind == FIGURE_KIND_COUNT || may_have_code(query->kind))) {
        fault_add(faults, "?code", "Names no nomogram; see /v1/nomograms.");
    }
}

static void read_span(const struct http_request *request, const struct recording_row *row,
                      struct figure_query *query, struct fault_list *faults)
{
    const struct optional_number from = api_query_number(request, "from_s", faults);
    const struct optional_number to = api_query_number(request, "to_s", faults);
    query->has_span = from.known || to.known;
    query->span =
        (struct figure_span){from.known ? fmax(from.value, 0.0) : 0.0,
                             to.known ? fmin(to.value, row->duration_s) : row->duration_s};
    if (query->has_span && query->kind != FIGURE_KIND_COUNT && !may_have_span(query->kind)) {
        fault_add(faults, from.known ? "?from_s" : "?to_s",
                  "Belongs to kind=traces and kind=voiding.");
    }
    if (query->span.to_s - query->span.from_s < SPAN_S_LEAST && query->has_span) {
        fault_add(faults, "?to_s", "Must lie at least %g s after from_s, within the recording.",
                  SPAN_S_LEAST);
    }
}

static int read_revision(const struct http_request *request, struct fault_list *faults)
{
    return api_query_integer(request, "revision", 1, INT_MAX, 0, faults);
}

static const char *names_of(struct arena *arena, const struct figure *figures, size_t count)
{
    struct text names;
    text_init(&names, arena, NAMES_LIMIT);
    for (size_t i = 0; i < count; i++) {
        text_printf(&names, "%s%s%s%s", i > 0 ? ", " : "", figure_kind_name(figures[i].kind),
                    figures[i].code[0] == '\0' ? "" : " ", figures[i].code);
    }
    return count == 0 ? "none" : names.data;
}

static const struct figure *find(const struct figure *figures, size_t count,
                                 const struct figure_query *query)
{
    for (size_t i = 0; i < count; i++) {
        if (figures[i].kind == query->kind &&
            (query->code[0] == '\0' || strcmp(figures[i].code, query->code) == 0)) {
            return &figures[i];
        }
    }
    return NULL;
}

/* ---- one ---- */

struct figure_drawing {
    const struct figure_source *source;
    const struct figure *figure;
    struct arena *arena;
};

static void draw_figure(void *opaque, struct canvas *canvas, struct canvas_rect area)
{
    const struct figure_drawing *drawing = opaque;
    figure_draw(drawing->source, drawing->figure, drawing->arena, canvas, area);
}

static bool revision_time(struct store *store, struct arena *arena, const char *id, int revision,
                          int64_t *ret_at_us, struct error *reterr)
{
    struct revision_row *rows = NULL;
    size_t count = 0;
    if (!recording_revisions(store, arena, id, &rows, &count, reterr)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (rows[i].revision == revision) {
            *ret_at_us = rows[i].created_at_us;
        }
    }
    return true;
}

static void respond_figure(struct api_context *context, struct http_request *request,
                           struct http_response *response, const struct recording_row *row,
                           const struct figure_query *query, struct figure_answer *answer)
{
    const struct figure_wanted wanted = {
        .row = row, .revision = query->revision, .span = query->has_span ? &query->span : NULL};
    struct figure_source source;
    struct figure figures[FIGURES_MAX];
    struct error error = {0};
    int revision = 0;
    if (!figure_load(context->store, request->arena, &wanted, &source, &revision, &error)) {
        api_fail(request, response, &error);
        return;
    }
    const size_t count = figure_list(&source, request->arena, figures);
    const struct figure *found = find(figures, count, query);
    if (found == NULL) {
        http_problem(request, response, 404,
                     "This recording has no such figure: what it would show is not in its "
                     "analysis, or the chart is not for this patient. It has: %s.",
                     names_of(request->arena, figures, count));
        return;
    }
    struct figure figure = *found;
    if (query->has_span) {
        figure.span = query->span;
    }
    struct figure_drawing drawing = {&source, &figure, request->arena};
    answer->width_pt = answer->width_pt > 0.0 ? answer->width_pt : figure.width_pt;
    answer->height_pt = answer->height_pt > 0.0 ? answer->height_pt : figure.height_pt;
    answer->caption = figure.caption;
    answer->alternative = figure_alternative(&source, &figure, request->arena);
    answer->clinic_name = context->principal.clinic_name;
    if (!revision_time(context->store, request->arena, row->id, revision, &answer->made_at_us,
                       &error)) {
        api_fail(request, response, &error);
        return;
    }
    answer->draw = draw_figure;
    answer->context = &drawing;
    figure_answer_send(request, response, answer);
}

void figures_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct figure_query query = {0};
    struct figure_answer answer = {0};
    struct fault_list faults;
    fault_list_init(&faults, request->arena);
    if (!recording_find(context, request, response, RECORDING_ANY, &row)) {
        return;
    }
    http_request_check_query(request,
                             (const char *const[]){"kind", "code", "from_s", "to_s", "width",
                                                   "height", "revision", NULL},
                             &faults);
    read_kind(request, &query, &faults);
    read_span(request, &row, &query, &faults);
    query.revision = read_revision(request, &faults);
    figure_answer_read_size(request, &answer, &faults);
    if (!api_reject(request, response, &faults) &&
        recording_is(context, request, response, RECORDING_ANALYSED, &row)) {
        respond_figure(context, request, response, &row, &query, &answer);
    }
}

/* ---- all ---- */

static void write_figure(const struct figure_source *source, const struct figure *figure,
                         struct arena *arena, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "kind", figure_kind_name(figure->kind));
    if (figure->code[0] != '\0') {
        json_writer_string(out, "code", figure->code);
    }
    json_writer_string(out, "caption", figure->caption);
    json_writer_string(out, "alternative", figure_alternative(source, figure, arena));
    if (may_have_span(figure->kind)) {
        json_writer_known(out, "from_s", figure->span.from_s);
        json_writer_known(out, "to_s", figure->span.to_s);
    }
    json_writer_known(out, "width", figure->width_pt);
    json_writer_known(out, "height", figure->height_pt);
    text_append_char(out, '}');
}

void figures_list(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct recording_row row = {0};
    struct figure_source source;
    struct figure figures[FIGURES_MAX];
    struct fault_list faults;
    struct error error = {0};
    struct text body;
    int revision = 0;
    fault_list_init(&faults, request->arena);
    if (!recording_find(context, request, response, RECORDING_ANY, &row)) {
        return;
    }
    http_request_check_query(request, (const char *const[]){"revision", NULL}, &faults);
    const struct figure_wanted wanted = {.row = &row, .revision = read_revision(request, &faults)};
    if (api_reject(request, response, &faults) ||
        !recording_is(context, request, response, RECORDING_ANALYSED, &row)) {
        return;
    }
    if (!figure_load(context->store, request->arena, &wanted, &source, &revision, &error)) {
        api_fail(request, response, &error);
        return;
    }
    const size_t count = figure_list(&source, request->arena, figures);
    text_init(&body, request->arena, FIGURES_ANSWER_LIMIT);
    text_append_char(&body, '{');
    json_writer_string(&body, "recording_id", row.id);
    json_writer_name(&body, "revision");
    text_printf(&body, "%d", revision);
    json_writer_name(&body, "items");
    text_append_char(&body, '[');
    for (size_t i = 0; i < count; i++) {
        write_figure(&source, &figures[i], request->arena, &body);
    }
    text_append(&body, "]}");
    api_respond_json(request, response, 200, &body);
    if (response->status == 200) {
        api_set_content_etag(request, response);
    }
}
