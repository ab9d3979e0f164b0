#include "auth/password.h"

#include "base/clock.h"

#include <math.h>
#include <pthread.h>
#include <sodium.h>
#include <string.h>
#include <strings.h>
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

/* Long enough to pass the length rule, and still among the first that anyone would try. */
static const char *const BLOCKED[] = {
    "123456789012",   "1234567890123",    "123123123123",     "111111111111",  "000000000000",
    "abcdefghijkl",   "aaaaaaaaaaaa",     "qwertyuiop12",     "qwertyuiop123", "qwertyuiopas",
    "password1234",   "password12345",    "passwordpassword", "administrator", "administrator1",
    "letmeinletmein", "iloveyouiloveyou", "changemenow1",     "changeme1234",  "welcome12345",
    "penstock1234",   "penstockpenstock", "urodynamics1",     "urodynamics12", "urodynamics123",
};

bool password_library_start(void)
{
    return sodium_init() >= 0;
}

static bool contains_ignoring_case(const char *text, const char *part)
{
    size_t length = strlen(part);
    for (; *text != '\0'; text++) {
        if (strncasecmp(text, part, length) == 0) {
            return true;
        }
    }
    return false;
}

static bool is_one_character_repeated(const char *password)
{
    return strspn(password, (const char[]){password[0], '\0'}) == strlen(password);
}

const char *password_objection(const char *password, const char *username)
{
    size_t length = strlen(password);
    if (length < PASSWORD_MIN_LENGTH) {
        return "A password has at least 12 characters.";
    }
    if (length > PASSWORD_MAX_LENGTH) {
        return "A password has at most 128 bytes.";
    }
    if (is_one_character_repeated(password)) {
        return "A password is not one character repeated.";
    }
    for (size_t i = 0; i < sizeof BLOCKED / sizeof BLOCKED[0]; i++) {
        if (strcasecmp(password, BLOCKED[i]) == 0) {
            return "This password is among the first that anyone would try.";
        }
    }
    if (strlen(username) >= 4 && contains_ignoring_case(password, username)) {
        return "A password does not hold the username.";
    }
    return NULL;
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

bool password_hash(struct arena *arena, const char *password, const char **ret_hash,
                   struct error *reterr)
{
    char hash[crypto_pwhash_STRBYTES];
    if (!slot_take(reterr)) {
        return false;
    }
    int status = crypto_pwhash_str(hash, password, strlen(password), COST, MEMORY);
    slot_give();
    if (status != 0) {
        return error_set(reterr, ERROR_UNAVAILABLE, "not enough memory to hash a password");
    }
    *ret_hash = arena_strdup(arena, hash);
    return true;
}

static void burn_as_long_as_a_verification(const char *password)
{
    unsigned char key[32];
    static const unsigned char salt[crypto_pwhash_SALTBYTES] = {0};
    int status = crypto_pwhash(key, sizeof key, password, strlen(password), salt, COST, MEMORY,
                               crypto_pwhash_ALG_ARGON2ID13);
    (void)status;
    sodium_memzero(key, sizeof key);
}

bool password_verify(const char *password, const char *hash, bool *ret_right, struct error *reterr)
{
    if (strlen(password) > PASSWORD_MAX_LENGTH) {
        *ret_right = false;
        return true;
    }
    if (!slot_take(reterr)) {
        return false;
    }
    if (hash == NULL || hash[0] == '\0') {
        burn_as_long_as_a_verification(password);
        *ret_right = false;
    } else {
        *ret_right = crypto_pwhash_str_verify(hash, password, strlen(password)) == 0;
    }
    slot_give();
    return true;
}
