/* Second factors and recovery codes, inside store_begin(). What is stored of a secret is encrypted
 * before it comes here; of recovery codes only hashes. */
#ifndef STORE_STORE_SECOND_FACTOR_H
#define STORE_STORE_SECOND_FACTOR_H

#include "store/store_account.h"

enum { SECOND_FACTOR_SEALED_MAX = 128, RECOVERY_CODE_COUNT = 10 };

struct second_factor {
    unsigned char sealed[SECOND_FACTOR_SEALED_MAX];
    size_t sealed_length;
    int64_t confirmed_at_us; /* 0: not yet */
    int64_t last_step;
    int recovery_codes_left;
    int64_t now_us; /* the database's time, by which codes are judged: servers' clocks may differ */
};

/* ERROR_NOT_FOUND when the account has none, confirmed or not: one that nobody confirms within 15
 * minutes lapses. */
MUST_CHECK bool second_factor_get(struct store *store, const char *account_id,
                                  struct second_factor *ret_factor, struct error *reterr);

/* Begins an enrolment, in place of one that was not confirmed. ERROR_CONFLICT when the account has
 * a confirmed one. */
MUST_CHECK bool second_factor_put(struct store *store, const char *account_id,
                                  const unsigned char *sealed, size_t sealed_length,
                                  struct error *reterr);

/* Takes the code of a time step, unless that or a later one was taken before: ret_taken is false
 * then. Of two requests with the same code one wins. The first confirms the factor. */
MUST_CHECK bool second_factor_use_step(struct store *store, const char *account_id, int64_t step,
                                       bool *ret_taken, struct error *reterr);

/* Takes a recovery code: ret_taken is false when there is none such (any more). */
MUST_CHECK bool second_factor_use_recovery_code(struct store *store, const char *account_id,
                                                const unsigned char hash[SECRET_HASH_BYTES],
                                                bool *ret_taken, struct error *reterr);

/* Replaces all recovery codes. */
MUST_CHECK bool
second_factor_put_recovery_codes(struct store *store, const char *account_id,
                                 unsigned char hashes[RECOVERY_CODE_COUNT][SECRET_HASH_BYTES],
                                 struct error *reterr);

/* Removes the factor with its codes; none is no error. What was judged by it begins no session any
 * more: account_hold(). */
MUST_CHECK bool second_factor_remove(struct store *store, const char *account_id,
                                     struct error *reterr);

#endif
