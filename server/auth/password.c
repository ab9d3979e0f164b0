#include "auth/password.h"

#include "auth/password_text.h"
#include "base/clock.h"

#include <math.h>
#include <pthread.h>
#include <sodium.h>
#include <string.h>
#include <time.h>

enum { HASHES_AT_A_TIME = 2, WAITERS_AT_MOST = 1 };

/* A worker that waits serves nobody, so few wait and none for long: a flood of sign-ins costs those
 * who sign in a second try, and not everybody else the service. */
static const double WAIT_S = 0.5;

/* Interactive cost of libsodium: t = 2, 64 MiB. Two at a time bound what a flood of sign-ins can
 * take from a small machine. */
static const unsigned long long COST = crypto_pwhash_OPSLIMIT_INTERACTIVE;
static const size_t MEMORY = crypto_pwhash_MEMLIMIT_INTERACTIVE;

static pthread_mutex_t slots_mutex = PTHREAD_MUTEX_INITIALIZER;
static pthread_cond_t slots_freed = PTHREAD_COND_INITIALIZER;
static unsigned slots_taken;
static unsigned slots_wanted;

bool password_library_start(void)
{
    return sodium_init() >= 0;
}

static struct timespec wait_end(void)
{
    double end_s = clock_monotonic_s() + WAIT_S;
    double whole_s = floor(end_s);
    return (struct timespec){.tv_sec = (time_t)whole_s, .tv_nsec = (long)((end_s - whole_s) * 1e9)};
}

/* With the lock held. */
static void wait_for_slot(void)
{
    struct timespec end = wait_end();
    int waited = 0;
    slots_wanted++;
    while (slots_taken >= HASHES_AT_A_TIME && waited == 0) {
        waited = pthread_cond_clockwait(&slots_freed, &slots_mutex, CLOCK_MONOTONIC, &end);
    }
    slots_wanted--;
}

static bool slot_take(struct error *reterr)
{
    pthread_mutex_lock(&slots_mutex);
    if (slots_taken >= HASHES_AT_A_TIME && slots_wanted < WAITERS_AT_MOST) {
        wait_for_slot();
    }
    bool taken = slots_taken < HASHES_AT_A_TIME;
    slots_taken += taken ? 1U : 0U;
    pthread_mutex_unlock(&slots_mutex);
    return taken || error_set(reterr, ERROR_UNAVAILABLE, "too many passwords to hash at a time");
}

static void slot_give(void)
{
    pthread_mutex_lock(&slots_mutex);
    slots_taken--;
    pthread_cond_signal(&slots_freed);
    pthread_mutex_unlock(&slots_mutex);
}

static bool hash_text(struct arena *arena, const char *text, const char **ret_hash,
                      struct error *reterr)
{
    char hash[crypto_pwhash_STRBYTES];
    if (!slot_take(reterr)) {
        return false;
    }
    int status = crypto_pwhash_str(hash, text, strlen(text), COST, MEMORY);
    slot_give();
    if (status != 0) {
        return error_set(reterr, ERROR_UNAVAILABLE, "not enough memory to hash a password");
    }
    *ret_hash = arena_strdup(arena, hash);
    return true;
}

bool password_hash(struct arena *arena, const char *password, const char **ret_hash,
                   struct error *reterr)
{
    char *normal = password_text_normal(password);
    if (normal == NULL) {
        return error_set(reterr, ERROR_INVALID, "a password that is not Unicode");
    }
    bool hashed = hash_text(arena, normal, ret_hash, reterr);
    password_text_free(normal);
    return hashed;
}

static void burn_as_long_as_a_verification(const char *text)
{
    unsigned char key[32];
    static const unsigned char salt[crypto_pwhash_SALTBYTES] = {0};
    int status = crypto_pwhash(key, sizeof key, text, strlen(text), salt, COST, MEMORY,
                               crypto_pwhash_ALG_ARGON2ID13);
    (void)status;
    sodium_memzero(key, sizeof key);
}

static bool verify_text(const char *text, const char *hash, bool *ret_right, struct error *reterr)
{
    if (!slot_take(reterr)) {
        return false;
    }
    if (hash == NULL || hash[0] == '\0') {
        burn_as_long_as_a_verification(text);
        *ret_right = false;
    } else {
        *ret_right = crypto_pwhash_str_verify(hash, text, strlen(text)) == 0;
    }
    slot_give();
    return true;
}

bool password_verify(const char *password, const char *hash, bool *ret_right, struct error *reterr)
{
    char *normal = strlen(password) <= PASSWORD_MAX_BYTES ? password_text_normal(password) : NULL;
    if (normal == NULL) { /* nobody could have chosen it, whatever the name */
        *ret_right = false;
        return true;
    }
    bool done = verify_text(normal, hash, ret_right, reterr);
    password_text_free(normal);
    return done;
}

bool password_hash_is_outdated(const char *hash)
{
    return crypto_pwhash_str_needs_rehash(hash, COST, MEMORY) != 0;
}
