#include "every_clinic.h"

#include "base/log.h"
#include "base/uuid.h"
#include "store/store_account.h"
#include "store/store_audit.h"

#include <stdio.h>
#include <time.h>

enum {
    PAGE = 100,
    PASSES = 3,   /* what somebody changed at the same time, or could not be locked, is tried
                     again after the others */
    PATIENCE = 10 /* so many recordings in a row for which the database was not there */
};

static const struct timespec PAUSE = {.tv_nsec = 500000000};

struct progress {
    const struct clinic_job *job;
    struct store *store;
    const char *clinic_id;
    int done;
    int failed;
    bool worth_another_pass;
    int unavailable_in_a_row;
};

/* With the work itself, so that nothing is done unseen. */
static bool append_entry(const struct progress *progress, struct arena *arena,
                         const struct work_item *item, struct error *reterr)
{
    const struct new_audit_entry entry = {
        .actor_id = AUDIT_PROGRAM_ID,
        .actor_name = "",
        .actor_kind = "program",
        .address = "",
        .request_id = "",
        .action = progress->job->audit_action,
        .resource = "recordings",
        .what = progress->job->command,
        .object_type = "recordings",
        .object_id = item->id,
        .patient_ids = "",
        .reason = "",
        .detail = "",
    };
    return audit_append(progress->store, arena, &entry, reterr);
}

static bool work_on(struct progress *progress, const struct work_item *item, struct error *reterr)
{
    const struct clinic_job *job = progress->job;
    struct store *store = progress->store;
    struct arena *arena = arena_new();
    bool good = store_begin(store, progress->clinic_id, NULL, reterr) &&
                job->take(job->context, store, arena, item, reterr) &&
                append_entry(progress, arena, item, reterr) && store_commit(store, reterr);
    store_rollback(store);
    arena_free(arena);
    if (good && job->taken != NULL) {
        job->taken(job->context, progress->clinic_id, item);
    }
    return good;
}

static void log_failure(const struct progress *progress, const struct work_item *item,
                        const struct error *error)
{
    const struct log_field fields[] = {
        {.name = "recording_id", .text = item->id},
        {.name = "detail", .text = error->detail},
    };
    log_event(LOG_LEVEL_WARNING, progress->job->item_failed, fields, 2);
}

/* False when it makes no sense to go on. */
static bool take_item(struct progress *progress, const struct work_item *item, struct error *reterr)
{
    struct error error = {0};
    if (progress->job->dry_run || work_on(progress, item, &error)) {
        progress->done++;
        progress->unavailable_in_a_row = 0;
        return true;
    }
    if (error.kind == ERROR_CONFLICT) {
        return true;
    }
    progress->failed++;
    log_failure(progress, item, &error);
    progress->worth_another_pass = progress->worth_another_pass || error.kind == ERROR_STALE ||
                                   error.kind == ERROR_UNAVAILABLE;
    if (error.kind != ERROR_UNAVAILABLE) {
        progress->unavailable_in_a_row = 0;
        return true;
    }
    (void)nanosleep(&PAUSE, NULL);
    *reterr = error;
    return ++progress->unavailable_in_a_row < PATIENCE;
}

static bool list_page(struct progress *progress, struct arena *arena, const char *after,
                      struct work_item **ret_items, size_t *ret_count, struct error *reterr)
{
    const struct clinic_job *job = progress->job;
    struct store *store = progress->store;
    bool good = store_begin(store, progress->clinic_id, NULL, reterr) &&
                job->list(job->context, store, arena, after, PAGE, ret_items, ret_count, reterr) &&
                store_commit(store, reterr);
    store_rollback(store);
    return good;
}

/* Everything that is listed now, in order of id. */
static bool run_pass(struct progress *progress, struct error *reterr)
{
    char after[UUID_TEXT_SIZE] = "";
    progress->failed = 0;
    progress->worth_another_pass = false;
    for (;;) {
        struct arena *arena = arena_new();
        struct work_item *items = NULL;
        size_t count = 0;
        bool good =
            list_page(progress, arena, after[0] == '\0' ? NULL : after, &items, &count, reterr);
        for (size_t i = 0; good && i < count; i++) {
            good = take_item(progress, &items[i], reterr);
        }
        if (good && count > 0) {
            (void)snprintf(after, sizeof after, "%s", items[count - 1].id);
        }
        arena_free(arena);
        if (!good || count < PAGE) {
            return good;
        }
    }
}

static bool check_clinic(struct progress *progress, struct error *reterr)
{
    bool good = store_begin(progress->store, progress->clinic_id, NULL, reterr) &&
                clinic_is_known(progress->store, reterr) && store_commit(progress->store, reterr);
    store_rollback(progress->store);
    return good;
}

/* False unless everything of the clinic is done now. */
static bool work_through(struct progress *progress, struct error *reterr)
{
    bool known = check_clinic(progress, reterr);
    bool good = known;
    for (int pass = 1; good && pass <= PASSES; pass++) {
        good = run_pass(progress, reterr);
        if (!progress->worth_another_pass) {
            break;
        }
    }
    if (!good) {
        log_message(LOG_LEVEL_ERROR, progress->job->failed, "clinic %s: %s", progress->clinic_id,
                    reterr->detail);
    }
    if (!known) {
        return false;
    }
    progress->job->report(progress->job->context, progress->clinic_id, progress->done,
                          progress->failed);
    (void)fflush(stdout);
    return good && progress->failed == 0;
}

static bool find_clinics(const struct config *config, struct arena *arena, const char *clinic_id,
                         const char ***ret_ids, size_t *ret_count, struct error *reterr)
{
    if (config->database[0] == '\0' && config->owner_database[0] == '\0') {
        return error_set(reterr, ERROR_INVALID, "PENSTOCK_DATABASE is not set");
    }
    if (clinic_id == NULL) {
        return clinic_list(config->owner_database, arena, ret_ids, ret_count, reterr);
    }
    if (!uuid_is_valid(clinic_id)) {
        return error_set(reterr, ERROR_INVALID, "the clinic's id is not a UUID");
    }
    *ret_ids = arena_array(arena, 1, sizeof **ret_ids);
    (*ret_ids)[0] = clinic_id;
    *ret_count = 1;
    return true;
}

int every_clinic(const struct config *config, const char *clinic_id, const struct clinic_job *job)
{
    const char **ids = NULL;
    size_t count = 0;
    struct error error = {0};
    struct arena *arena = arena_new();
    bool good = find_clinics(config, arena, clinic_id, &ids, &count, &error);
    if (!good) {
        log_message(LOG_LEVEL_ERROR, job->failed, "%s", error.detail);
    } else {
        /* The server's own role does the work: row-level security holds it to one clinic. */
        struct store *store =
            store_new(config->database[0] != '\0' ? config->database : config->owner_database);
        for (size_t i = 0; i < count; i++) {
            struct progress progress = {.job = job, .store = store, .clinic_id = ids[i]};
            good = work_through(&progress, &error) && good;
        }
        store_free(store);
    }
    arena_free(arena);
    return good ? 0 : 1;
}
