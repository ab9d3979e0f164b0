/* Brings stored analysis documents up to date. */
#include "app.h"

#include "analysis/analysis.h"
#include "api/compute.h"
#include "every_clinic.h"
#include "store/store_recording.h"

#include <stdio.h>

struct recomputation {
    bool dry_run;
    int kept; /* documents of signed or cancelled studies of the clinic, when last listed */
};

static bool list_stale(void *context, struct store *store, struct arena *arena, const char *after,
                       int limit, struct work_item **ret_items, size_t *ret_count,
                       struct error *reterr)
{
    struct recomputation *work = context;
    struct stale_recording *stale = NULL;
    if (!recording_list_stale(store, arena, after, limit, &stale, ret_count, reterr) ||
        !recording_count_kept(store, &work->kept, reterr)) {
        return false;
    }
    *ret_items = arena_array(arena, *ret_count, sizeof **ret_items);
    for (size_t i = 0; i < *ret_count; i++) {
        (*ret_items)[i] = (struct work_item){.id = stale[i].id, .version = stale[i].revision};
    }
    return true;
}

/* A document whose study was signed a moment ago (ERROR_CONFLICT) is counted with the kept ones. */
static bool make_anew(void *context, struct store *store, struct arena *arena,
                      const struct work_item *item, struct error *reterr)
{
    (void)context;
    const struct revision_cause cause = {.reason = "made anew by version " ANALYSIS_VERSION
                                                   " of the analysis"};
    return compute_revision(store, arena, item->id, item->version, &cause, reterr);
}

static void report(void *context, const char *clinic_id, int done, int failed)
{
    struct recomputation *work = context;
    printf("clinic %s: %d %s, %d of signed or cancelled studies kept, %d failed\n", clinic_id, done,
           work->dry_run ? "to be recomputed" : "recomputed", work->kept, failed);
}

int app_recompute(const struct config *config, const char *clinic_id, bool dry_run)
{
    struct recomputation work = {.dry_run = dry_run};
    const struct clinic_job job = {.context = &work,
                                   .failed = "recompute_failed",
                                   .command = "penstock-server recompute",
                                   .audit_action = "change",
                                   .item_failed = "not_recomputed",
                                   .dry_run = dry_run,
                                   .list = list_stale,
                                   .take = make_anew,
                                   .report = report};
    return every_clinic(config, clinic_id, &job);
}
