/* Makes the images that test_images.c compares with:
 *
 *   references FOLDER
 *
 * Run it with tests/unit/figure/reference when a figure is meant to look different, and look at
 * what it made before it is committed. */
#include "image_cases.h"

#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
    if (argc != 2) {
        (void)fprintf(stderr, "usage: references FOLDER\n");
        return EXIT_FAILURE;
    }
    for (size_t i = 0; i < image_cases_count(); i++) {
        struct arena *arena = arena_new();
        const struct drawn drawn = image_case_draw(arena, i, 0.0, CANVAS_PNG);
        const char *path = arena_printf(arena, "%s/%s.png", argv[1], image_case_name(i));
        FILE *file = fopen(path, "wb");
        if (file == NULL || fwrite(drawn.bytes, 1, drawn.length, file) != drawn.length ||
            fclose(file) != 0) {
            (void)fprintf(stderr, "references: cannot write %s\n", path);
            return EXIT_FAILURE;
        }
        arena_free(arena);
    }
    canvas_forget_fonts();
    return EXIT_SUCCESS;
}
