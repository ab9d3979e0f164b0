/* penstock-demo-data: writes an invented clinic as the documents that Penstock's interface takes.
 */
#include "calendar.h"
#include "clinic.h"
#include "documents.h"
#include "equipment.h"
#include "record.h"
#include "sensors.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { PATH_SIZE = 4096 };

static const char USAGE[] =
    "usage: penstock-demo-data --today YYYY-MM-DD [--seed N] OUTPUT_DIR\n"
    "Writes the invented clinic's patients, studies, recordings and their true values. The same "
    "day\n"
    "and seed (default 1) give the same files. OUTPUT_DIR is made if it does not exist.\n";

static bool make_directory(const char *path)
{
    if (mkdir(path, 0777) != 0 && errno != EEXIST) {
        perror(path);
        return false;
    }
    return true;
}

static bool make_directories(const char *directory)
{
    static const char *const folders[] = {"patients", "studies", "recordings", "truth", "devices"};
    bool made = make_directory(directory);
    for (size_t i = 0; made && i < sizeof folders / sizeof folders[0]; i++) {
        char path[PATH_SIZE];
        int length = snprintf(path, sizeof path, "%s/%s", directory, folders[i]);
        made = length > 0 && (size_t)length < sizeof path && make_directory(path);
    }
    return made;
}

static bool write_part(const struct documents_order *order, size_t index, size_t part)
{
    const struct plan *plan = clinic_visit(index)->recordings[part];
    struct sensors_set sensors = {0};
    struct scene *scene = record_play(plan, order->seed, documents_stream(index, part));
    bool written = scene != NULL && sensors_read(scene, plan, &sensors);
    if (!written) {
        (void)fputs("penstock-demo-data: out of memory\n", stderr);
    }
    written = written && documents_write_recording(order, index, part, scene, &sensors) &&
              documents_write_truth(order, index, part, scene);
    sensors_free(&sensors);
    scene_free(scene);
    return written;
}

static bool write_all(const struct documents_order *order)
{
    bool written = make_directories(order->directory) && documents_write_clinic(order) &&
                   equipment_write(order);
    for (size_t i = 0; written && clinic_patient(i) != NULL; i++) {
        written = documents_write_patient(order, i);
    }
    for (size_t i = 0; written && clinic_visit(i) != NULL; i++) {
        const struct clinic_visit *visit = clinic_visit(i);
        written = documents_write_visit(order, i);
        for (size_t part = 0; written && part < CLINIC_RECORDINGS_MAX; part++) {
            written = visit->recordings[part] == NULL || write_part(order, i, part);
        }
    }
    return written && documents_write_index(order); /* last: its presence says that all is there */
}

static bool read_seed(const char *text, uint64_t *ret_seed)
{
    char *end = NULL;
    errno = 0;
    unsigned long long seed = strtoull(text, &end, 10);
    if (text[0] < '0' || text[0] > '9' || *end != '\0' || errno != 0 || seed > 0xFFFFFFFFU) {
        return false;
    }
    *ret_seed = seed;
    return true;
}

static bool read_arguments(int count, char *arguments[], struct documents_order *order)
{
    bool dated = false;
    for (int i = 1; i < count; i++) {
        bool valued = i + 1 < count;
        if (strcmp(arguments[i], "--today") == 0 && valued) {
            struct calendar_date date;
            if (!calendar_parse(arguments[++i], &date)) {
                return false;
            }
            order->today = calendar_days(date);
            date.day = 1;
            order->anchor = calendar_days(date);
            dated = true;
        } else if (strcmp(arguments[i], "--seed") == 0 && valued) {
            if (!read_seed(arguments[++i], &order->seed)) {
                return false;
            }
        } else if (arguments[i][0] != '-' && order->directory == NULL) {
            order->directory = arguments[i];
        } else {
            return false;
        }
    }
    return dated && order->directory != NULL;
}

int main(int count, char *arguments[])
{
    struct documents_order order = {.seed = 1};
    if (count == 2 && strcmp(arguments[1], "--help") == 0) {
        (void)fputs(USAGE, stdout);
        return EXIT_SUCCESS;
    }
    if (!read_arguments(count, arguments, &order)) {
        (void)fputs(USAGE, stderr);
        return 2;
    }
    return write_all(&order) ? EXIT_SUCCESS : EXIT_FAILURE;
}
