/* Carries out approved erasures, and those of a list in a restored copy. */
#include "app.h"

#include "base/log.h"
#include "base/uuid.h"
#include "store/eraser.h"
#include "store/store_account.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINE_SIZE = 256, OBSTACLES = 3 };

static const char *const OBSTACLE_NAMES[OBSTACLES] = {"held", "cooling off", "new data"};

struct tally {
    int erased;
    int kept[OBSTACLES];
    int failed;
};

static bool fail(const struct error *error, const char *clinic_id)
{
    const struct log_field fields[] = {
        {.name = "clinic_id", .text = clinic_id},
        {.name = "detail", .text = error->detail},
    };
    log_event(LOG_LEVEL_ERROR, "erasure_failed", clinic_id != NULL ? fields : fields + 1,
              clinic_id != NULL ? 2 : 1);
    return false;
}

/* One list of clinics for all three commands. */
static bool open_for(const struct config *config, struct arena *arena, const char *clinic_id,
                     struct eraser **ret_eraser, const char ***ret_clinics, size_t *ret_count)
{
    struct error error = {0};
    if (config->owner_database[0] == '\0') {
        (void)error_set(&error, ERROR_INVALID, "PENSTOCK_OWNER_DATABASE is not set");
        return fail(&error, NULL);
    }
    if (clinic_id != NULL && !uuid_is_valid(clinic_id)) {
        (void)error_set(&error, ERROR_INVALID, "the clinic's id is not a UUID");
        return fail(&error, NULL);
    }
    if (!eraser_open(config->owner_database, ret_eraser, &error)) {
        return fail(&error, NULL);
    }
    if (clinic_id != NULL) {
        *ret_clinics = arena_array(arena, 1, sizeof **ret_clinics);
        (*ret_clinics)[0] = clinic_id;
        *ret_count = 1;
        return true;
    }
    return clinic_list(config->owner_database, arena, ret_clinics, ret_count, &error) ||
           fail(&error, NULL);
}

/* ---- carrying out ---- */

static void log_erasure(const char *event, enum log_level level, const char *clinic_id,
                        const char *request_id, const char *detail)
{
    const struct log_field fields[] = {
        {.name = "clinic_id", .text = clinic_id},
        {.name = "erasure_id", .text = request_id},
        {.name = "detail", .text = detail},
    };
    log_event(level, event, fields, 3);
}

static void erase_one(struct eraser *eraser, struct arena *arena, const char *clinic_id,
                      const struct erasure_due *due, struct tally *tally)
{
    const char *counts = NULL;
    struct error error = {0};
    if (eraser_erase(eraser, arena, clinic_id, due->request_id, &counts, &error)) {
        tally->erased++;
        log_erasure("erased", LOG_LEVEL_INFO, clinic_id, due->request_id, counts);
        return;
    }
    tally->failed++;
    log_erasure("not_erased", LOG_LEVEL_WARNING, clinic_id, due->request_id, error.detail);
}

static void count_obstacle(const char *clinic_id, const struct erasure_due *due,
                           struct tally *tally)
{
    for (int i = 0; i < OBSTACLES; i++) {
        tally->kept[i] += strcmp(due->obstacle, OBSTACLE_NAMES[i]) == 0 ? 1 : 0;
    }
    log_erasure("erasure_skipped", LOG_LEVEL_INFO, clinic_id, due->request_id, due->obstacle);
}

static void print_tally(const char *clinic_id, const struct tally *tally, bool dry_run)
{
    printf("clinic %s: %d %s, %d held, %d cooling off, %d with new data, %d failed\n", clinic_id,
           tally->erased, dry_run ? "to be erased" : "erased", tally->kept[0], tally->kept[1],
           tally->kept[2], tally->failed);
    (void)fflush(stdout);
}

static bool work_on(struct eraser *eraser, const char *clinic_id, bool dry_run)
{
    struct erasure_due *items = NULL;
    size_t count = 0;
    struct tally tally = {0};
    struct error error = {0};
    struct arena *arena = arena_new();
    bool good = eraser_list_approved(eraser, arena, clinic_id, &items, &count, &error);
    for (size_t i = 0; good && i < count; i++) {
        if (items[i].obstacle != NULL) {
            count_obstacle(clinic_id, &items[i], &tally);
        } else if (dry_run) {
            tally.erased++;
        } else {
            erase_one(eraser, arena, clinic_id, &items[i], &tally);
        }
    }
    arena_free(arena);
    if (!good) {
        return fail(&error, clinic_id);
    }
    print_tally(clinic_id, &tally, dry_run);
    return tally.failed == 0;
}

int app_erase(const struct config *config, const char *clinic_id, bool dry_run)
{
    struct eraser *eraser = NULL;
    const char **clinics = NULL;
    size_t count = 0;
    struct arena *arena = arena_new();
    bool good = open_for(config, arena, clinic_id, &eraser, &clinics, &count);
    bool opened = good;
    for (size_t i = 0; opened && i < count; i++) {
        good = work_on(eraser, clinics[i], dry_run) && good;
    }
    eraser_close(eraser);
    arena_free(arena);
    return good ? 0 : 1;
}

/* ---- the list, and a copy that it is applied to ---- */

static bool print_erased(struct eraser *eraser, struct arena *arena, const char *clinic_id,
                         size_t *total)
{
    struct erased_patient *items = NULL;
    size_t count = 0;
    struct error error = {0};
    if (!eraser_list_erased(eraser, arena, clinic_id, &items, &count, &error)) {
        return fail(&error, clinic_id);
    }
    for (size_t i = 0; i < count; i++) {
        printf("%s %s %s %s\n", items[i].clinic_id, items[i].patient_id, items[i].request_id,
               items[i].erased_at);
    }
    *total += count;
    return true;
}

int app_erase_list(const struct config *config, const char *clinic_id)
{
    struct eraser *eraser = NULL;
    const char **clinics = NULL;
    size_t count = 0;
    size_t total = 0;
    struct arena *arena = arena_new();
    bool good = open_for(config, arena, clinic_id, &eraser, &clinics, &count);
    for (size_t i = 0; good && i < count; i++) {
        good = print_erased(eraser, arena, clinics[i], &total);
    }
    if (good) {
        /* Without this line the list is not whole, and is not taken. */
        printf("# %zu erased patients\n", total);
        good = fflush(stdout) == 0;
    }
    eraser_close(eraser);
    arena_free(arena);
    return good ? 0 : 1;
}

struct erased_list {
    struct erased_patient *items;
    size_t count;
};

/* Splits "clinic patient request time"; false when it is anything else. */
static bool read_line(struct arena *arena, const char *line, struct erased_patient *ret_patient)
{
    char *words[4] = {NULL};
    char *rest = arena_strdup(arena, line);
    for (int i = 0; i < 4; i++) {
        words[i] = strsep(&rest, " \n");
        if (words[i] == NULL || words[i][0] == '\0') {
            return false;
        }
    }
    *ret_patient = (struct erased_patient){words[0], words[1], words[2], words[3]};
    return (rest == NULL || rest[0] == '\0') && uuid_is_valid(words[0]) &&
           uuid_is_valid(words[1]) && uuid_is_valid(words[2]);
}

static bool read_lines(FILE *in, struct arena *arena, struct erased_list *ret_list,
                       struct error *reterr)
{
    char line[LINE_SIZE];
    size_t capacity = 0;
    while (fgets(line, sizeof line, in) != NULL && line[0] != '#') {
        if (ret_list->count == capacity) {
            capacity = 2 * capacity + 16;
            struct erased_patient *more = arena_array(arena, capacity, sizeof *more);
            for (size_t i = 0; i < ret_list->count; i++) {
                more[i] = ret_list->items[i];
            }
            ret_list->items = more;
        }
        if (!read_line(arena, line, &ret_list->items[ret_list->count])) {
            return error_set(reterr, ERROR_INVALID, "line %zu is not one of erase --list",
                             ret_list->count + 1);
        }
        ret_list->count++;
        line[0] = '\0';
    }
    return (line[0] == '#' && strtoull(line + 1, NULL, 10) == ret_list->count) ||
           error_set(reterr, ERROR_INVALID,
                     "the list is not whole: its last line counts the others");
}

static bool read_list(const char *file, struct arena *arena, struct erased_list *ret_list,
                      struct error *reterr)
{
    /* "-" is for a list that only its owner, not the server's user, may read. */
    bool is_stdin = strcmp(file, "-") == 0;
    FILE *in = is_stdin ? stdin : fopen(file, "re");
    if (in == NULL) {
        char reason[128];
        return error_set(reterr, ERROR_INVALID, "open the list: %s",
                         strerror_r(errno, reason, sizeof reason));
    }
    bool good = read_lines(in, arena, ret_list, reterr);
    if (!is_stdin) {
        (void)fclose(in);
    }
    return good;
}

int app_erase_again(const struct config *config, const char *file)
{
    struct eraser *eraser = NULL;
    struct erased_list list = {0};
    const char **clinics = NULL;
    size_t clinic_count = 0;
    int came_back = 0;
    int refused = 0;
    struct error error = {0};
    struct arena *arena = arena_new();
    bool good = read_list(file, arena, &list, &error) || fail(&error, NULL);
    good = good && open_for(config, arena, NULL, &eraser, &clinics, &clinic_count);
    bool opened = good;
    for (size_t i = 0; opened && i < list.count; i++) {
        bool was_there = false;
        if (eraser_erase_again(eraser, &list.items[i], &was_there, &error)) {
            came_back += was_there ? 1 : 0;
        } else {
            log_erasure("not_erased", LOG_LEVEL_ERROR, list.items[i].clinic_id,
                        list.items[i].request_id, error.detail);
            refused++;
            good = false;
        }
    }
    if (opened) {
        printf("%zu on the list, %d had come back and were erased again, %d not erased\n",
               list.count, came_back, refused);
    }
    eraser_close(eraser);
    arena_free(arena);
    return good ? 0 : 1;
}
