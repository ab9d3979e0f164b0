/* How long Jansson takes to read a JSON document from memory, milliseconds, median of the rounds:
 *   jansson_alone FILE ROUNDS */
#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { ROUNDS_MAX = 99 };

static double now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return 1e3 * (double)now.tv_sec + 1e-6 * (double)now.tv_nsec;
}

static int compare(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

/* The file's bytes, to be freed; NULL when it cannot be read. */
static char *read_file(const char *name, size_t *ret_length)
{
    FILE *file = fopen(name, "rb");
    if (file == NULL) {
        return NULL;
    }
    char *bytes = NULL;
    if (fseek(file, 0, SEEK_END) == 0) {
        long length = ftell(file);
        bytes = length > 0 ? malloc((size_t)length) : NULL;
        if (bytes != NULL) {
            rewind(file);
            *ret_length = fread(bytes, 1, (size_t)length, file);
        }
    }
    (void)fclose(file);
    return bytes;
}

static bool measure(const char *bytes, size_t length, int rounds)
{
    double took_ms[ROUNDS_MAX];
    for (int i = 0; i < rounds; i++) {
        double begun_ms = now_ms();
        json_t *document = json_loadb(bytes, length, 0, NULL);
        took_ms[i] = now_ms() - begun_ms;
        if (document == NULL) {
            return false;
        }
        json_decref(document);
    }
    qsort(took_ms, (size_t)rounds, sizeof *took_ms, compare);
    printf("%.3f\n", took_ms[rounds / 2]);
    return true;
}

int main(int argc, char **argv)
{
    size_t length = 0;
    int rounds = argc == 3 ? (int)strtol(argv[2], NULL, 10) : 0;
    char *bytes = argc == 3 ? read_file(argv[1], &length) : NULL;
    bool good =
        bytes != NULL && rounds >= 1 && rounds <= ROUNDS_MAX && measure(bytes, length, rounds);
    if (!good) {
        fputs("usage: jansson_alone FILE ROUNDS, of a JSON document\n", stderr);
    }
    free(bytes);
    return good ? EXIT_SUCCESS : EXIT_FAILURE;
}
