/* Draws every figure of a recording document, to be looked at:
 *
 *   gallery DOCUMENT.json SEX AGE_YEARS PREFIX
 *
 * writes PREFIX-<kind>[-<code>].png and .svg, and the alternatives on stdout. */
#include "sources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The program has one thread. */
static _Noreturn void fail(const char *why, const char *detail)
{
    (void)fprintf(stderr, "gallery: %s %s\n", why, detail);
    exit(EXIT_FAILURE); /* NOLINT(concurrency-mt-unsafe) */
}

static void save(const char *path, const unsigned char *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");
    if (file == NULL || fwrite(bytes, 1, length, file) != length || fclose(file) != 0) {
        fail("cannot write", path);
    }
}

static void draw(struct arena *arena, const struct figure_source *source,
                 const struct figure *figure, const char *prefix)
{
    static const enum canvas_form FORMS[] = {CANVAS_PNG, CANVAS_SVG};

    static const char *const ENDINGS[] = {"png", "svg"};
    for (size_t i = 0; i < sizeof FORMS / sizeof FORMS[0]; i++) {
        struct canvas *canvas = canvas_new(FORMS[i], figure->width_pt, figure->height_pt, 2.0);
        struct error error = {0};
        const unsigned char *bytes = NULL;
        size_t length = 0;
        figure_draw(source, figure, arena, canvas,
                    (struct canvas_rect){0.0, 0.0, figure->width_pt, figure->height_pt});
        if (!canvas_finish(canvas, arena, &bytes, &length, &error)) {
            fail("a canvas failed:", error.detail);
        }
        save(arena_printf(arena, "%s-%s%s%s.%s", prefix, figure_kind_name(figure->kind),
                          figure->code[0] == '\0' ? "" : "-", figure->code, ENDINGS[i]),
             bytes, length);
        canvas_free(canvas);
    }
    (void)printf("%s %s: %s\n%s\n\n", figure_kind_name(figure->kind), figure->code, figure->caption,
                 figure_alternative(source, figure, arena));
}

static const char *load(struct arena *arena, const char *path, size_t *ret_length)
{
    enum { DOCUMENT_BYTES_MAX = 32 * 1024 * 1024 };

    FILE *file = fopen(path, "rb");
    char *text = arena_alloc(arena, DOCUMENT_BYTES_MAX);
    if (file == NULL) {
        fail("cannot read", path);
    }
    *ret_length = fread(text, 1, DOCUMENT_BYTES_MAX - 1, file);
    (void)fclose(file);
    return text;
}

int main(int argc, char **argv)
{
    if (argc != 5) {
        (void)fprintf(stderr, "usage: gallery DOCUMENT.json SEX AGE_YEARS PREFIX\n");
        return EXIT_FAILURE;
    }
    struct arena *arena = arena_new();
    struct figure figures[FIGURES_MAX];
    size_t length = 0;
    const char *json = load(arena, argv[1], &length);
    const struct figure_source source = sources_of_document(
        arena, json, length, patient_sex_from_name(argv[2]), strtod(argv[3], NULL));
    const size_t count = figure_list(&source, arena, figures);
    for (size_t i = 0; i < count; i++) {
        draw(arena, &source, &figures[i], argv[4]);
    }
    arena_free(arena);
    canvas_forget_fonts();
    return EXIT_SUCCESS;
}
