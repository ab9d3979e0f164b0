/* A clinic's first administrator, and one who is locked out: nobody could let them in over HTTP. */
#include "app.h"

#include "auth/password.h"
#include "base/log.h"
#include "base/uuid.h"
#include "store/store_account.h"
#include "store/store_audit.h"

#include <stdio.h>
#include <string.h>

enum { LINE_SIZE = PASSWORD_MAX_BYTES + 3 };

typedef bool action(struct store *store, struct arena *arena, const char *username,
                    const char *password_hash, const char **ret_id, struct error *reterr);

/* A command, and how the audit names it. */
struct command {
    action *act;
    const char *what;
    const char *action;
};

static bool check_names(const struct config *config, const char *clinic_id, const char *username,
                        struct error *reterr)
{
    if (config->owner_database[0] == '\0') {
        return error_set(reterr, ERROR_INVALID, "PENSTOCK_DATABASE is not set");
    }
    if (!uuid_is_valid(clinic_id)) {
        return error_set(reterr, ERROR_INVALID, "the clinic's id is not a UUID");
    }
    size_t length = strlen(username);
    bool good = length >= 2 && length <= 64 &&
                strspn(username, "abcdefghijklmnopqrstuvwxyz0123456789._-@") == length;
    return good || error_set(reterr, ERROR_INVALID,
                             "a username has 2 to 64 of the characters a-z 0-9 . _ - @");
}

static bool read_password(char line[LINE_SIZE], const char *username, struct error *reterr)
{
    if (fgets(line, LINE_SIZE, stdin) == NULL) {
        return error_set(reterr, ERROR_INVALID, "no password on standard input");
    }
    line[strcspn(line, "\r\n")] = '\0';
    const struct password_owner owner = {.username = username};
    const char *objection = password_objection(line, &owner);
    return objection == NULL || error_set(reterr, ERROR_INVALID, "%s", objection);
}

static bool hash_line(struct arena *arena, const char *username, const char **ret_hash,
                      struct error *reterr)
{
    char line[LINE_SIZE];
    bool good =
        read_password(line, username, reterr) && password_hash(arena, line, ret_hash, reterr);
    explicit_bzero(line, sizeof line);
    return good;
}

static bool append_entry(struct store *store, struct arena *arena, const struct command *command,
                         const char *account_id, const char *username, struct error *reterr)
{
    const struct new_audit_entry entry = {
        .actor_id = AUDIT_PROGRAM_ID,
        .actor_name = "",
        .actor_kind = "program",
        .address = "",
        .request_id = "",
        .action = command->action,
        .resource = "accounts",
        .what = command->what,
        .object_type = "users",
        .object_id = account_id,
        .patient_ids = "",
        .reason = "",
        .detail = username,
    };
    return audit_append(store, arena, &entry, reterr);
}

static bool act_in_clinic(struct store *store, struct arena *arena, const char *clinic_id,
                          const char *username, const char *hash, const struct command *command,
                          const char **ret_id, struct error *reterr)
{
    bool done = store_begin(store, clinic_id, clinic_id, reterr) &&
                clinic_is_known(store, reterr) &&
                command->act(store, arena, username, hash, ret_id, reterr) &&
                append_entry(store, arena, command, *ret_id, username, reterr) &&
                store_commit(store, reterr);
    store_rollback(store);
    return done;
}

static int run(const struct config *config, const char *clinic_id, const char *username,
               const struct command *command)
{
    struct error error = {0};
    const char *hash = NULL;
    const char *id = NULL;
    struct arena *arena = arena_new();
    struct store *store = store_new(config->owner_database);
    bool done = check_names(config, clinic_id, username, &error) &&
                hash_line(arena, username, &hash, &error) &&
                act_in_clinic(store, arena, clinic_id, username, hash, command, &id, &error);
    if (done) {
        printf("%s\n", id);
    } else {
        log_message(LOG_LEVEL_ERROR, "administrator_failed", "%s", error.detail);
    }
    store_free(store);
    arena_free(arena);
    return done ? 0 : 1;
}

int app_administrator_first(const struct config *config, const char *clinic_id,
                            const char *username)
{
    static const struct command first = {administrator_create_first,
                                         "penstock-server administrator first", "create"};
    return run(config, clinic_id, username, &first);
}

int app_administrator_recover(const struct config *config, const char *clinic_id,
                              const char *username)
{
    static const struct command recover = {administrator_recover,
                                           "penstock-server administrator recover", "change"};
    return run(config, clinic_id, username, &recover);
}
