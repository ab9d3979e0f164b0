/* Prints a checksum of every recording, and says what is damaged. */
#include "app.h"

#include "base/log.h"
#include "base/uuid.h"
#include "store/store_verify.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { STATUS_DAMAGED = 1, STATUS_NOT_DONE = 2 };

static bool write_failed(struct error *reterr)
{
    char reason[128];
    return error_set(reterr, ERROR_UNAVAILABLE, "write the checksums: %s",
                     strerror_r(errno, reason, sizeof reason));
}

static bool take_recording(void *context, const char *clinic_id, const char *recording_id,
                           const char *checksum, struct error *reterr)
{
    FILE *out = context;
    return fprintf(out, "%s %s %s\n", clinic_id, recording_id,
                   checksum != NULL ? checksum : "unreadable") >= 0 ||
           write_failed(reterr);
}

static void take_damage(void *context, const struct verify_damage *damage)
{
    (void)context;
    const struct log_field fields[] = {
        {.name = "clinic_id", .text = damage->clinic_id},
        {.name = "recording_id", .text = damage->recording_id},
        {.name = "detail", .text = damage->detail},
        {.name = "channel", .number = damage->channel},
        {.name = "level", .number = damage->level},
        {.name = "block", .number = (double)damage->block},
    };
    log_event(LOG_LEVEL_ERROR, "damaged", fields, damage->has_block ? 6 : 3);
}

/* The last line: without it the list is not whole. */
static bool write_counts(FILE *out, const struct verify_counts *counts, struct error *reterr)
{
    return (fprintf(out,
                    "# %" PRId64 " recordings of %" PRId64 " clinics: %" PRId64
                    " sample blocks, %" PRId64 " revisions, %" PRId64 " pieces; %" PRId64
                    " damaged; checksum format %d\n",
                    counts->recordings, counts->clinics, counts->blocks, counts->revisions,
                    counts->pieces, counts->damages, VERIFY_CHECKSUM_FORMAT) >= 0 &&
            fflush(out) == 0) ||
           write_failed(reterr);
}

static bool verify_into(FILE *out, const struct verify_options *options,
                        struct verify_counts *ret_counts, struct error *reterr)
{
    const struct verify_listener listener = {
        .context = out, .take_recording = take_recording, .take_damage = take_damage};
    return verify_run(options, &listener, ret_counts, reterr) &&
           write_counts(out, ret_counts, reterr);
}

static bool verify_into_file(const char *file, const struct verify_options *options,
                             struct verify_counts *ret_counts, struct error *reterr)
{
    FILE *out = fopen(file, "w");
    if (out == NULL) {
        return write_failed(reterr);
    }
    bool good = verify_into(out, options, ret_counts, reterr) &&
                (fsync(fileno(out)) == 0 || write_failed(reterr));
    return (fclose(out) == 0 || !good || write_failed(reterr)) && good;
}

int app_verify(const struct config *config, const char *clinic_id, const char *file,
               const char *snapshot)
{
    struct error error = {0};
    struct verify_counts counts = {0};
    const struct verify_options options = {
        .conninfo = config->owner_database, .clinic_id = clinic_id, .snapshot = snapshot};
    bool good = false;
    if (options.conninfo[0] == '\0') {
        (void)error_set(&error, ERROR_INVALID, "PENSTOCK_DATABASE is not set");
    } else if (clinic_id != NULL && !uuid_is_valid(clinic_id)) {
        (void)error_set(&error, ERROR_INVALID, "the clinic's id is not a UUID");
    } else {
        good = file != NULL ? verify_into_file(file, &options, &counts, &error)
                            : verify_into(stdout, &options, &counts, &error);
    }
    if (!good) {
        log_message(LOG_LEVEL_ERROR, "verify_failed", "%s", error.detail);
        return STATUS_NOT_DONE;
    }
    return counts.damages > 0 ? STATUS_DAMAGED : 0;
}
