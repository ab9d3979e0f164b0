/* Brings stored analysis documents up to date, one transaction a recording, while servers run. */
#include "app.h"

#include "analysis/analysis.h"
#include "api/compute.h"
#include "base/log.h"
#include "base/uuid.h"
#include "store/store_account.h"
#include "store/store_recording.h"

#include <stdio.h>
#include <time.h>

enum {
    PAGE = 100,
    PASSES = 3,   /* what somebody changed at the same time, or could not be locked, is tried
                     again after the others */
    PATIENCE = 10 /* so many recordings in a row for which the database was not there */
};

static const struct timespec PAUSE = {.tv_nsec = 500000000};

struct recomputation {
    struct store *store;
    const char *clinic_id;
    bool dry_run;
    int made;
    int kept;
    int failed;
    bool worth_another_pass;
    int unavailable_in_a_row;
};

static bool make_anew(struct recomputation *work, const struct stale_recording *item,
                      struct error *reterr)
{
    const struct revision_cause cause = {.reason = "made anew by version " ANALYSIS_VERSION
                                                   " of the analysis"};
    struct arena *arena = arena_new();
    bool good = store_begin(work->store, work->clinic_id, NULL, reterr) &&
                compute_revision(work->store, arena, item->id, item->revision, &cause, reterr) &&
                store_commit(work->store, reterr);
    store_rollback(work->store);
    arena_free(arena);
    return good;
}

static void log_failure(const struct stale_recording *item, const struct error *error)
{
    const struct log_field fields[] = {
        {.name = "recording_id", .text = item->id},
        {.name = "detail", .text = error->detail},
    };
    log_event(LOG_LEVEL_WARNING, "not_recomputed", fields, 2);
}

/* False when it makes no sense to go on. */
static bool take_item(struct recomputation *work, const struct stale_recording *item,
                      struct error *reterr)
{
    struct error error = {0};
    if (work->dry_run || make_anew(work, item, &error)) {
        work->made++;
        work->unavailable_in_a_row = 0;
        return true;
    }
    if (error.kind == ERROR_CONFLICT) { /* signed a moment ago: counted with the kept ones */
        return true;
    }
    work->failed++;
    log_failure(item, &error);
    work->worth_another_pass =
        work->worth_another_pass || error.kind == ERROR_STALE || error.kind == ERROR_UNAVAILABLE;
    if (error.kind != ERROR_UNAVAILABLE) {
        work->unavailable_in_a_row = 0;
        return true;
    }
    (void)nanosleep(&PAUSE, NULL);
    *reterr = error;
    return ++work->unavailable_in_a_row < PATIENCE;
}

static bool list_page(struct recomputation *work, struct arena *arena, const char *after,
                      struct stale_recording **ret_items, size_t *ret_count, struct error *reterr)
{
    bool good =
        store_begin(work->store, work->clinic_id, NULL, reterr) &&
        recording_list_stale(work->store, arena, after, PAGE, ret_items, ret_count, reterr) &&
        recording_count_kept(work->store, &work->kept, reterr) && store_commit(work->store, reterr);
    store_rollback(work->store);
    return good;
}

/* Every recording that is stale now, in order of id. */
static bool run_pass(struct recomputation *work, struct error *reterr)
{
    char after[UUID_TEXT_SIZE] = "";
    work->failed = 0;
    work->worth_another_pass = false;
    for (;;) {
        struct arena *arena = arena_new();
        struct stale_recording *items = NULL;
        size_t count = 0;
        bool good = list_page(work, arena, after[0] == '\0' ? NULL : after, &items, &count, reterr);
        for (size_t i = 0; good && i < count; i++) {
            good = take_item(work, &items[i], reterr);
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

static bool check_clinic(struct recomputation *work, struct error *reterr)
{
    bool good = store_begin(work->store, work->clinic_id, NULL, reterr) &&
                clinic_is_known(work->store, reterr) && store_commit(work->store, reterr);
    store_rollback(work->store);
    return good;
}

/* False unless every document of the clinic is up to date now. */
static bool recompute_clinic(struct recomputation *work, struct error *reterr)
{
    bool known = check_clinic(work, reterr);
    bool good = known;
    for (int pass = 1; good && pass <= PASSES; pass++) {
        good = run_pass(work, reterr);
        if (!work->worth_another_pass) {
            break;
        }
    }
    if (!good) {
        log_message(LOG_LEVEL_ERROR, "recompute_failed", "clinic %s: %s", work->clinic_id,
                    reterr->detail);
    }
    if (!known) {
        return false;
    }
    printf("clinic %s: %d %s, %d of signed or cancelled studies kept, %d failed\n", work->clinic_id,
           work->made, work->dry_run ? "to be recomputed" : "recomputed", work->kept, work->failed);
    (void)fflush(stdout);
    return good && work->failed == 0;
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

int app_recompute(const struct config *config, const char *clinic_id, bool dry_run)
{
    const char **ids = NULL;
    size_t count = 0;
    struct error error = {0};
    struct arena *arena = arena_new();
    bool good = find_clinics(config, arena, clinic_id, &ids, &count, &error);
    if (!good) {
        log_message(LOG_LEVEL_ERROR, "recompute_failed", "%s", error.detail);
    } else {
        /* The server's own role does the work: row-level security holds it to one clinic. */
        struct store *store =
            store_new(config->database[0] != '\0' ? config->database : config->owner_database);
        for (size_t i = 0; i < count; i++) {
            struct recomputation work = {.store = store, .clinic_id = ids[i], .dry_run = dry_run};
            good = recompute_clinic(&work, &error) && good;
        }
        store_free(store);
    }
    arena_free(arena);
    return good ? 0 : 1;
}
