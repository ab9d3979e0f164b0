/* The clinic's equipment, where it stood and when, and the checks that it measures right. No data
 * of patients; a transaction of any reach sees all of its clinic's.
 *
 * What a device is has one row that changes. Where it stood, whether it was in use and how often
 * it is due only ever gains rows, each from a moment on, so that a study of an earlier time still
 * finds the device that it was made with. Of the rows that have begun by a moment, the one recorded
 * last holds: one recorded with an earlier beginning corrects what was recorded before. */
#ifndef STORE_STORE_DEVICE_H
#define STORE_STORE_DEVICE_H

#include "analysis/equipment.h"
#include "analysis/recording.h"
#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

/* One check. Only ever added. */
struct device_verification {
    const char *id;
    const char *device_id;
    int64_t verified_at_us;  /* when it was done */
    int64_t recorded_at_us;  /* when it came here; reads only */
    const char *verified_by; /* a person's name */
    const char *method;      /* how, in words; "" when not said */
    const char *remarks;     /* "" when there are none */
    enum equipment_verdict verdict;
    const char *words;          /* the verdict as sentences, English, plain text */
    const char *judgement_json; /* JSON object: points, fits, limits in use, notes */
};

/* A device as it was at a moment. */
struct device {
    const char *id;
    enum equipment_kind kind;
    const char *name;           /* what the clinic calls it */
    const char *maker;          /* "" when not said */
    const char *serial;         /* "" when not said */
    bool signals[SIGNAL_COUNT]; /* what it measures, by enum signal_kind; none when not said */
    const char *limits_json;    /* JSON object: the clinic's own limits; "{}" without any */
    int version;
    /* From `since_us` on: */
    const char *room;
    bool in_use;
    int due_every_days; /* 0: no interval is kept */
    int64_t since_us;
    /* The last check done at or before the moment; NULL: none */
    const struct device_verification *last;
    int64_t due_at_us; /* when the next check is or was due; 0: never, or nothing to count from */
    bool passed;       /* the last check passed */
    bool overdue;      /* there was a check, and the next one was due before the moment */
};

/* `device->id` NULL: a new id. room, in_use and due_every_days hold from since_us on.
 * ERROR_CONFLICT when the id exists. */
MUST_CHECK bool device_create(struct store *store, struct arena *arena, const struct device *device,
                              const char **ret_id, struct error *reterr);

/* As it is now. ERROR_NOT_FOUND. */
MUST_CHECK bool device_get(struct store *store, struct arena *arena, const char *id,
                           struct device *ret_device, struct error *reterr);

/* Replaces all but the kind. Where room, in_use or due_every_days differ from what is there, or
 * since_us does, they hold from since_us on. ERROR_STALE, ERROR_NOT_FOUND. */
MUST_CHECK bool device_update(struct store *store, const struct device *device,
                              struct error *reterr);

struct device_filter {
    const char *room; /* NULL: any */
    bool by_in_use;   /* only those whose in_use is the next one */
    bool in_use;
};

/* As they are now, by name and id. */
MUST_CHECK bool device_list(struct store *store, struct arena *arena,
                            const struct device_filter *filter, const struct store_page *page,
                            struct device **ret_items, size_t *ret_count,
                            const char **ret_next_cursor, struct error *reterr);

/* The devices that were in use in `room` at the moment `at_us`, ordered by kind and name, each with
 * the last check at or before that moment: what a report of a study of that room and time says of
 * its equipment. Empty when none is known there. */
MUST_CHECK bool device_list_for_study(struct store *store, struct arena *arena, const char *room,
                                      int64_t at_us, struct device **ret_items, size_t *ret_count,
                                      struct error *reterr);

/* `verification->id` NULL: a new id. ERROR_NOT_FOUND without such a device, ERROR_CONFLICT when the
 * id exists. */
MUST_CHECK bool device_verification_create(struct store *store, struct arena *arena,
                                           const struct device_verification *verification,
                                           const char **ret_id, struct error *reterr);
MUST_CHECK bool device_verification_get(struct store *store, struct arena *arena, const char *id,
                                        struct device_verification *ret_verification,
                                        struct error *reterr);

/* Of one device, the last one done first. ERROR_NOT_FOUND without such a device. */
MUST_CHECK bool device_verification_list(struct store *store, struct arena *arena,
                                         const char *device_id, const struct store_page *page,
                                         struct device_verification **ret_items, size_t *ret_count,
                                         const char **ret_next_cursor, struct error *reterr);

#endif
