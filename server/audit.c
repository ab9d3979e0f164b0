/* Checks the audit's chains, and prints the last entry of each. */
#include "app.h"

#include "base/log.h"
#include "store/store_audit_verify.h"

#include <errno.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { STATUS_DAMAGED = 1, STATUS_NOT_DONE = 2, LINE_SIZE = 256, HEADS_AT_ONCE = 256 };

struct kept_heads {
    struct audit_head *heads;
    size_t count;
    size_t capacity;
};

/* "clinic lane number hash" */
static bool read_head(const char *line, struct audit_head *ret_head)
{
    char hash[2 * AUDIT_HASH_BYTES + 1];
    size_t length = 0;
    int end = 0;
    /* NOLINTNEXTLINE(cert-err34-c): what does not fit is found by the range below */
    return sscanf(line, "%36s %d %" SCNd64 " %64s %n", ret_head->clinic_id, &ret_head->lane,
                  &ret_head->number, hash, &end) == 4 &&
           line[end] == '\0' && uuid_is_valid(ret_head->clinic_id) && ret_head->lane >= 0 &&
           ret_head->lane < AUDIT_LANES && ret_head->number >= 0 &&
           sodium_hex2bin(ret_head->hash, AUDIT_HASH_BYTES, hash, strlen(hash), NULL, &length,
                          NULL) == 0 &&
           length == AUDIT_HASH_BYTES;
}

static bool add_head(struct kept_heads *kept, const struct audit_head *head, struct error *reterr)
{
    if (kept->count == kept->capacity) {
        size_t capacity = kept->capacity + HEADS_AT_ONCE;
        struct audit_head *grown = realloc(kept->heads, capacity * sizeof *grown);
        if (grown == NULL) {
            return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the kept heads");
        }
        kept->heads = grown;
        kept->capacity = capacity;
    }
    kept->heads[kept->count++] = *head;
    return true;
}

static bool read_lines(FILE *in, struct kept_heads *kept, struct error *reterr)
{
    char line[LINE_SIZE];
    for (int number = 1; fgets(line, sizeof line, in) != NULL; number++) {
        struct audit_head head = {.lane = 0};
        if (line[0] == '#' || line[0] == '\n') {
            continue;
        }
        if (!read_head(line, &head)) {
            return error_set(reterr, ERROR_INVALID, "line %d is no head: clinic lane number hash",
                             number);
        }
        if (!add_head(kept, &head, reterr)) {
            return false;
        }
    }
    return ferror(in) == 0 || error_set(reterr, ERROR_UNAVAILABLE, "the heads cannot be read");
}

static bool read_heads(const char *file, struct kept_heads *kept, struct error *reterr)
{
    if (file == NULL) {
        return true;
    }
    bool is_input = strcmp(file, "-") == 0;
    FILE *in = is_input ? stdin : fopen(file, "r");
    if (in == NULL) {
        char reason[128];
        return error_set(reterr, ERROR_UNAVAILABLE, "open the heads: %s",
                         strerror_r(errno, reason, sizeof reason));
    }
    bool good = read_lines(in, kept, reterr);
    if (!is_input) {
        (void)fclose(in);
    }
    if (good && kept->count == 0) {
        good = error_set(reterr, ERROR_INVALID, "there are no heads in the file");
    }
    return good;
}

static bool take_head(void *context, const struct audit_head *head, struct error *reterr)
{
    char hash[2 * AUDIT_HASH_BYTES + 1];
    (void)context;
    sodium_bin2hex(hash, sizeof hash, head->hash, sizeof head->hash);
    return printf("%s %d %" PRId64 " %s\n", head->clinic_id, head->lane, head->number, hash) >= 0 ||
           error_set(reterr, ERROR_UNAVAILABLE, "the heads cannot be written");
}

static void take_damage(void *context, const struct audit_damage *damage)
{
    (void)context;
    const struct log_field fields[] = {
        {.name = "clinic_id", .text = damage->clinic_id},
        {.name = "lane", .number = damage->lane},
        {.name = "number", .number = (double)damage->number},
        {.name = "detail", .text = damage->detail},
    };
    log_event(LOG_LEVEL_ERROR, "audit_damaged", fields, sizeof fields / sizeof fields[0]);
}

/* The last line: without it the list is not whole. */
static bool write_counts(const struct audit_verify_counts *counts, struct error *reterr)
{
    return (printf("# %" PRId64 " entries of %" PRId64 " clinics; %" PRId64
                   " kept heads found; %" PRId64 " damaged\n",
                   counts->entries, counts->clinics, counts->heads, counts->damages) >= 0 &&
            fflush(stdout) == 0) ||
           error_set(reterr, ERROR_UNAVAILABLE, "the heads cannot be written");
}

int app_audit_verify(const struct config *config, const char *clinic_id, const char *heads,
                     const char *snapshot)
{
    struct error error = {0};
    struct kept_heads kept = {0};
    struct audit_verify_counts counts = {0};
    const struct audit_verify_listener listener = {.take_head = take_head,
                                                   .take_damage = take_damage};
    bool good = true;
    if (config->owner_database[0] == '\0') {
        good = error_set(&error, ERROR_INVALID, "PENSTOCK_DATABASE is not set");
    } else if (clinic_id != NULL && !uuid_is_valid(clinic_id)) {
        good = error_set(&error, ERROR_INVALID, "the clinic's id is not a UUID");
    }
    if (good && read_heads(heads, &kept, &error)) {
        const struct audit_verify_options options = {.conninfo = config->owner_database,
                                                     .clinic_id = clinic_id,
                                                     .kept = kept.heads,
                                                     .kept_count = kept.count,
                                                     .snapshot = snapshot};
        good =
            audit_verify_run(&options, &listener, &counts, &error) && write_counts(&counts, &error);
    } else {
        good = false;
    }
    free(kept.heads);
    if (!good) {
        log_message(LOG_LEVEL_ERROR, "audit_verify_failed", "%s", error.detail);
        return STATUS_NOT_DONE;
    }
    return counts.damages > 0 ? STATUS_DAMAGED : 0;
}
