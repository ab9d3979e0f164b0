#include "auth/password.h"

#include <pthread.h>
#include <sodium.h>
#include <string.h>
#include <strings.h>

enum { HASHES_AT_A_TIME = 2 };

/* Interactive cost of libsodium: t = 2, 64 MiB. Two at a time bound what a flood of sign-ins can
 * take from a small machine. */
static const unsigned long long COST = crypto_pwhash_OPSLIMIT_INTERACTIVE;
static const size_t MEMORY = crypto_pwhash_MEMLIMIT_INTERACTIVE;

static pthread_mutex_t slots_mutex = PTHREAD_MUTEX_INITIALIZER;
static pthread_cond_t slots_freed = PTHREAD_COND_INITIALIZER;
static unsigned slots_taken;

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
        return "a password has at least 12 characters";
    }
    if (length > PASSWORD_MAX_LENGTH) {
        return "a password has at most 128 bytes";
    }
    if (is_one_character_repeated(password)) {
        return "a password is not one character repeated";
    }
    for (size_t i = 0; i < sizeof BLOCKED / sizeof BLOCKED[0]; i++) {
        if (strcasecmp(password, BLOCKED[i]) == 0) {
            return "this password is among the first that anyone would try";
        }
    }
    if (strlen(username) >= 4 && contains_ignoring_case(password, username)) {
        return "a password does not hold the username";
    }
    return NULL;
}

static void slot_take(void)
{
    pthread_mutex_lock(&slots_mutex);
    while (slots_taken >= HASHES_AT_A_TIME) {
        pthread_cond_wait(&slots_freed, &slots_mutex);
    }
    slots_taken++;
    pthread_mutex_unlock(&slots_mutex);
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
    slot_take();
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
    slot_take();
    int status = crypto_pwhash(key, sizeof key, password, strlen(password), salt, COST, MEMORY,
                               crypto_pwhash_ALG_ARGON2ID13);
    slot_give();
    (void)status;
    sodium_memzero(key, sizeof key);
}

bool password_verify(const char *password, const char *hash)
{
    if (strlen(password) > PASSWORD_MAX_LENGTH) {
        return false;
    }
    if (hash == NULL) {
        burn_as_long_as_a_verification(password);
        return false;
    }
    slot_take();
    int status = crypto_pwhash_str_verify(hash, password, strlen(password));
    slot_give();
    return status == 0;
}
