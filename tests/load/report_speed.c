/* How fast a report of two pages becomes a PDF, how large it is, and whether a process grows by it:
 * eight traces of 2,300 points, a figure of half the width, facts, and a table of 30 rows. Prints
 * lines "name value". */
#include "report/document.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

enum { REPORTS = 100, FIRST_REPORTS = 10, TRACES = 8, POINTS = 2300, ROWS = 30, FACTS = 12 };

static double now_ms(void)
{
    struct timespec at;
    (void)clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec * 1e3 + (double)at.tv_nsec / 1e6;
}

static double resident_kb(void)
{
    long size = 0;
    long resident = 0;
    FILE *file = fopen("/proc/self/statm", "re");
    if (file == NULL || fscanf(file, "%ld %ld", &size, &resident) != 2) { // NOLINT(cert-err34-c)
        abort();
    }
    (void)fclose(file);
    return (double)resident * (double)sysconf(_SC_PAGESIZE) / 1024.0;
}

/* ---- the report ---- */

static void draw_traces(void *context, struct canvas *canvas, struct canvas_rect area)
{
    const struct canvas_pen pen = {.colour = {0.04, 0.36, 0.40}, .width_pt = 0.7};
    const struct canvas_style style = {.size_pt = 7.0, .colour = {0.08, 0.13, 0.12}};
    static struct canvas_point points[POINTS];
    uint64_t state = *(const uint64_t *)context;
    double strip = area.height / TRACES;
    for (int trace = 0; trace < TRACES; trace++) {
        double top = area.y + trace * strip;
        for (int i = 0; i < POINTS; i++) {
            state = state * 6364136223846793005U + 1442695040888963407U;
            double noise = (double)(state >> 40) / (double)(1 << 24);
            double wave = 0.5 + 0.3 * sin(i / (40.0 + 9.0 * trace)) + 0.1 * noise;
            points[i] =
                (struct canvas_point){area.x + area.width * i / (POINTS - 1), top + strip * wave};
        }
        canvas_polyline(canvas, points, POINTS, &pen);
        (void)canvas_label(canvas, (struct canvas_point){area.x, top}, "pressure, cmH2O", &style,
                           CANVAS_START, 0.0);
    }
}

static void add_values(struct document *document, uint64_t seed)
{
    static const struct document_column columns[] = {
        {"Measure", false, 3.0}, {"Value", true, 1.0}, {"Unit", false, 1.0}, {"Note", false, 3.0}};
    document_table(document, "Values", columns, 4);
    for (unsigned row = 0; row < ROWS; row++) {
        char value[32];
        char measure[64];
        (void)snprintf(value, sizeof value, "%u.%u", ((unsigned)seed + row * 7U) % 200U, row % 10U);
        (void)snprintf(measure, sizeof measure, "Measure %u of the filling phase", row);
        const struct document_span cells[] = {
            {.words = measure},
            {.words = value, .strong = true},
            {.words = "cmH2O"},
            {.words = row % 4U == 0U ? "rests on a stretch in which a line was flushed" : ""}};
        document_row(document, cells);
    }
}

static void add_facts(struct document *document, uint64_t seed)
{
    for (unsigned i = 0; i < FACTS; i++) {
        char term[32];
        char value[32];
        (void)snprintf(term, sizeof term, "Fact %u", i);
        (void)snprintf(value, sizeof value, "value %u", (unsigned)(seed + i));
        document_fact(document, term, &(struct document_span){.words = value, .from_person = true});
    }
}

static struct document *new_report(struct arena *arena, uint64_t *seed)
{
    const struct document_facts facts = {
        .title = "Report of a study",
        .language = "en",
        .author = "A clinic",
        .head_start = arena_printf(arena, "Patient %u", (unsigned)*seed),
        .head_end = "A clinic, 1 December 2026",
        .foot = "Penstock",
        .mark = "Preliminary",
        .code = arena_printf(arena, "https://clinic.example/reports/%u", (unsigned)*seed),
        .code_label = "report",
        .made_at_us = 1764559800000000};
    struct document *document = document_new(arena, &facts);
    document_heading(document, 1, facts.title);
    document_words(document, DOCUMENT_CAUTION, "Nobody has signed this. Numbers may change.");
    document_heading(document, 2, "Patient and study");
    add_facts(document, *seed);
    document_heading(document, 2, "Traces");
    document_figure(document, &(struct document_figure){.caption = "The whole recording",
                                                        .alternative = "Eight signals over time",
                                                        .height_pt = 380.0,
                                                        .draw = draw_traces,
                                                        .context = seed});
    document_heading(document, 2, "Values");
    add_values(document, *seed);
    return document;
}

static size_t make_report(uint64_t seed)
{
    struct arena *arena = arena_new();
    struct document *document = new_report(arena, &seed);
    struct error error = {0};
    const unsigned char *bytes = NULL;
    size_t length = 0;
    if (!document_write_pdf(document, arena, &bytes, &length, &error)) {
        (void)fprintf(stderr, "%s\n", error.detail);
        exit(1); // NOLINT(concurrency-mt-unsafe): there is one thread
    }
    arena_free(arena);
    return length;
}

static int compare(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

int main(void)
{
    double taken_ms[REPORTS];
    size_t length = 0;
    double first_kb = 0.0;
    for (unsigned i = 0; i < REPORTS; i++) {
        double start_ms = now_ms();
        length = make_report(i + 1);
        taken_ms[i] = now_ms() - start_ms;
        if (i + 1 == FIRST_REPORTS) {
            first_kb = resident_kb();
        }
    }
    double last_kb = resident_kb();
    printf("report_first_ms %.1f\n", taken_ms[0]);
    qsort(taken_ms, REPORTS, sizeof *taken_ms, compare);
    printf("report_ms %.1f\n", taken_ms[REPORTS / 2]);
    printf("report_bytes %zu\n", length);
    printf("report_resident_10_kb %.0f\n", first_kb);
    printf("report_resident_100_kb %.0f\n", last_kb);
    return 0;
}
