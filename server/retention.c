/* Withdraws recordings that have been kept as long as their clinic decided. */
#include "app.h"

#include "base/log.h"
#include "every_clinic.h"
#include "store/store_recording_state.h"
#include "store/store_retention.h"

#include <stdio.h>
#include <string.h>

enum { REASON_SIZE = 120 };

struct withdrawal {
    bool dry_run;
    struct retention_rule rule; /* by which the recordings were listed */
    char reason[REASON_SIZE];   /* of the last one withdrawn */
};

static bool list_due(void *context, struct store *store, struct arena *arena, const char *after,
                     int limit, struct work_item **ret_items, size_t *ret_count,
                     struct error *reterr)
{
    struct withdrawal *work = context;
    struct due_recording *due = NULL;
    if (!retention_rule_load(store, &work->rule, reterr) ||
        !retention_list_due(store, arena, after, limit, &due, ret_count, reterr)) {
        return false;
    }
    *ret_items = arena_array(arena, *ret_count, sizeof **ret_items);
    for (size_t i = 0; i < *ret_count; i++) {
        (*ret_items)[i] = (struct work_item){.id = due[i].id, .version = due[i].version};
    }
    return true;
}

static void say_why(const struct retention_rule *rule, char reason[REASON_SIZE])
{
    int years = (int)rule->keep_years.value;
    int length = snprintf(reason, REASON_SIZE, "kept for %d year%s", years, years == 1 ? "" : "s");
    if (rule->keep_until_age_years.known) {
        length += snprintf(reason + length, REASON_SIZE - (size_t)length,
                           " and until the patient was %d", (int)rule->keep_until_age_years.value);
    }
    (void)snprintf(reason + length, REASON_SIZE - (size_t)length, ", as the clinic decided");
}

/* Nothing is left to do for a recording that somebody else has withdrawn, or of a study that was
 * signed while the rule or the patient's birth date changed; any other conflict is a failure. */
static bool withdraw_it(struct store *store, const struct work_item *item, const char *reason,
                        struct error *reterr)
{
    if (recording_withdraw(store, item->id, item->version, reason, reterr)) {
        return true;
    }
    if (reterr->kind == ERROR_CONFLICT && strcmp(reterr->detail, "state") != 0 &&
        strcmp(reterr->detail, "signed") != 0) {
        reterr->kind = ERROR_INTERNAL;
    }
    return false;
}

static bool withdraw(void *context, struct store *store, struct arena *arena,
                     const struct work_item *item, struct error *reterr)
{
    struct withdrawal *work = context;
    struct retention_rule rule;
    (void)arena;
    if (!retention_rule_load(store, &rule, reterr)) {
        return false;
    }
    if (rule.version != work->rule.version) {
        return error_set(reterr, ERROR_STALE, "the clinic has decided anew");
    }
    say_why(&rule, work->reason);
    return withdraw_it(store, item, work->reason, reterr);
}

static void log_withdrawn(void *context, const char *clinic_id, const struct work_item *item)
{
    const struct withdrawal *work = context;
    const struct log_field fields[] = {
        {.name = "clinic_id", .text = clinic_id},
        {.name = "recording_id", .text = item->id},
        {.name = "detail", .text = work->reason},
    };
    log_event(LOG_LEVEL_INFO, "withdrawn", fields, 3);
}

static void report(void *context, const char *clinic_id, int done, int failed)
{
    const struct withdrawal *work = context;
    printf("clinic %s: %d %s, %d failed\n", clinic_id, done,
           work->dry_run ? "to be withdrawn" : "withdrawn", failed);
}

int app_retention(const struct config *config, const char *clinic_id, bool dry_run)
{
    struct withdrawal work = {.dry_run = dry_run};
    const struct clinic_job job = {.context = &work,
                                   .failed = "retention_failed",
                                   .command = "penstock-server retention",
                                   .audit_action = "remove",
                                   .item_failed = "not_withdrawn",
                                   .dry_run = dry_run,
                                   .list = list_due,
                                   .take = withdraw,
                                   .taken = log_withdrawn,
                                   .report = report};
    return every_clinic(config, clinic_id, &job);
}
