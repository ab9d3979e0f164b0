/* Who referred a patient, and access taken in an emergency. */
#ifndef STORE_STORE_REFERRAL_H
#define STORE_STORE_REFERRAL_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

struct referrer {
    const char *id; /* of the account */
    const char *display_name;
    int64_t since_us; /* of the referral; 0 in a list of all referrers */
};

/* All active accounts with the role referrer, by name. */
MUST_CHECK bool referrer_list(struct store *store, struct arena *arena, struct referrer **ret_items,
                              size_t *ret_count, struct error *reterr);

/* Those who have referred the patient, by name; ERROR_NOT_FOUND when there is no such patient. */
MUST_CHECK bool referral_list(struct store *store, struct arena *arena, const char *patient_id,
                              struct referrer **ret_items, size_t *ret_count, struct error *reterr);

/* Repeating it changes nothing. ERROR_NOT_FOUND when there is no such patient, ERROR_INVALID when
 * the account is not an active referrer's. */
MUST_CHECK bool referral_put(struct store *store, const char *patient_id, const char *account_id,
                             struct error *reterr);

/* ERROR_NOT_FOUND when there is no such referral. */
MUST_CHECK bool referral_end(struct store *store, const char *patient_id, const char *account_id,
                             struct error *reterr);

struct emergency_access {
    const char *id;
    const char *patient_id;
    int64_t expires_at_us;
};

/* Opens a patient to the transaction's actor, a person, for an hour from now.
 * reason  10 to 1000 characters
 * ERROR_NOT_FOUND when nobody has this record number and birth date */
MUST_CHECK bool emergency_access_take(struct store *store, struct arena *arena, const char *mrn,
                                      const char *birth_date, const char *reason,
                                      struct emergency_access *ret_access, struct error *reterr);

#endif
