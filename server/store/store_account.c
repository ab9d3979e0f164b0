/* Clinics and accounts. Sessions: store_session.c; bearer tokens: store_token.c. */
#include "store/store_account.h"

#include "base/uuid.h"
#include "store/cursor.h"
#include "store/query.h"
#include "store/store_second_factor.h"

#include <string.h>

enum account_statement {
    CLINIC_INSERT,
    CLINIC_EXISTS,
    CLINIC_FACTOR_ROLES,
    CLINIC_SET_FACTOR_ROLES,
    ACCOUNT_INSERT,
    ACCOUNT_SELECT,
    ACCOUNT_UPDATE,
    ACCOUNT_UPDATE_PASSWORD,
    ACCOUNT_EXISTS,
    ACCOUNT_END_SESSIONS,
    ACCOUNT_LIST,
    ACCOUNT_SET_PASSWORD,
    ACCOUNT_RENEW_HASH,
    ADMINISTRATOR_LOCK,
    ADMINISTRATOR_EXISTS,
    ADMINISTRATOR_FIND,
    ACCOUNT_STATEMENT_COUNT
};

#define ACCOUNT_COLUMNS                                                                            \
    "a.id, a.username, a.display_name, a.roles, a.active, penstock.unix_us(a.created_at), "        \
    "a.version, a.sign_in_issuer, a.sign_in_subject, a.must_change_password,"                      \
    " exists (select from penstock.second_factor f"                                                \
    " where f.clinic_id = a.clinic_id and f.account_id = a.id and f.confirmed_at is not null)"

/* The old password hash cannot be read, so that it is either set or left out. */
#define ACCOUNT_UPDATE_BEGIN                                                                       \
    "update penstock.account a set display_name = coalesce($4, a.display_name),"                   \
    " roles = coalesce($5, a.roles), active = coalesce($6, a.active),"                             \
    " must_change_password = coalesce($7, a.must_change_password), version = a.version + 1,"       \
    " session_epoch = a.session_epoch"

#define ACCOUNT_UPDATE_END                                                                         \
    " where a.clinic_id = $1 and a.id = $2 and a.version = $3 returning a.version"

static const struct statement statements[] = {
    [CLINIC_INSERT] = {.name = "clinic_insert",
                       .sql = "with scope as (select set_config('penstock.clinic', $1, true) as id)"
                              " insert into penstock.clinic (clinic_id, name)"
                              " select id::uuid, $2 from scope on conflict do nothing"},
    [CLINIC_EXISTS] = {.name = "clinic_exists",
                       .sql = "select from penstock.clinic where clinic_id = $1"},
    [CLINIC_FACTOR_ROLES] = {.name = "clinic_factor_roles",
                             .sql = "select second_factor_roles from penstock.clinic"
                                    " where clinic_id = $1"},
    [CLINIC_SET_FACTOR_ROLES] = {.name = "clinic_set_factor_roles",
                                 .sql = "update penstock.clinic set second_factor_roles = $2"
                                        " where clinic_id = $1"},
    [ACCOUNT_INSERT] = {.name = "account_insert",
                        .sql = "insert into penstock.account"
                               " (clinic_id, id, username, display_name, password_hash, roles)"
                               " values ($1, $2, lower($3), $4, $5, $6)"
                               " on conflict do nothing returning id"},
    [ACCOUNT_SELECT] = {.name = "account_select",
                        .sql = "select " ACCOUNT_COLUMNS " from penstock.account a"
                               " where a.clinic_id = $1 and a.id = $2"},
    [ACCOUNT_UPDATE] = {.name = "account_update",
                        .sql = ACCOUNT_UPDATE_BEGIN
                        " + case when not $6 then 1 else 0 end" ACCOUNT_UPDATE_END},
    [ACCOUNT_UPDATE_PASSWORD] = {.name = "account_update_password",
                                 .sql = ACCOUNT_UPDATE_BEGIN
                                 " + 1, password_hash = $8" ACCOUNT_UPDATE_END},
    [ACCOUNT_EXISTS] = {.name = "account_exists",
                        .sql = "select from penstock.account where clinic_id = $1 and id = $2"},
    [ACCOUNT_END_SESSIONS] = {.name = "account_end_sessions",
                              .sql = "delete from penstock.session"
                                     " where clinic_id = $1 and account_id = $2"},
    [ACCOUNT_LIST] = {.name = "account_list",
                      .sql = "select " ACCOUNT_COLUMNS " from penstock.account a"
                             " where a.clinic_id = $1"
                             " and ($2::uuid is null or a.username >"
                             " (select c.username from penstock.account c"
                             " where c.clinic_id = $1 and c.id = $2))"
                             " order by a.username limit $3"},
    [ACCOUNT_SET_PASSWORD] = {.name = "account_set_password",
                              .sql = "update penstock.account set password_hash = $3,"
                                     " must_change_password = false, version = version + 1,"
                                     " session_epoch = session_epoch + 1"
                                     " where clinic_id = $1 and id = $2 returning id"},
    [ACCOUNT_RENEW_HASH] = {.name = "account_renew_hash",
                            .sql = "update penstock.account set password_hash = $4"
                                   " where clinic_id = $1 and id = $2 and version = $3"},
    [ADMINISTRATOR_LOCK] = {.name = "administrator_lock",
                            .sql = "select pg_advisory_xact_lock("
                                   "hashtextextended('administrator of ' || $1::uuid, 0))"},
    [ADMINISTRATOR_EXISTS] = {.name = "administrator_exists",
                              .sql = "select from penstock.account where clinic_id = $1"
                                     " and active and roles & 64 <> 0 limit 1"},
    [ADMINISTRATOR_FIND] = {.name = "administrator_find",
                            .sql = "select id from penstock.account where clinic_id = $1"
                                   " and username = lower($2) and active and roles & 64 <> 0"},
};

const struct statement_table store_account_statements = {statements, ACCOUNT_STATEMENT_COUNT};

static const struct {
    enum role role;
    const char *name;
} role_names[] = {
    {ROLE_ROOM, "room"},
    {ROLE_CLINICIAN, "clinician"},
    {ROLE_PHYSICIAN, "physician"},
    {ROLE_REFERRER, "referrer"},
    {ROLE_INTEGRATION, "integration"},
    {ROLE_AUDITOR, "auditor"},
    {ROLE_ADMINISTRATOR, "administrator"},
};

const char *role_name(unsigned role)
{
    for (size_t i = 0; i < sizeof role_names / sizeof role_names[0]; i++) {
        if ((unsigned)role_names[i].role == role) {
            return role_names[i].name;
        }
    }
    return NULL;
}

unsigned role_from_name(const char *name)
{
    for (size_t i = 0; i < sizeof role_names / sizeof role_names[0]; i++) {
        if (strcmp(role_names[i].name, name) == 0) {
            return (unsigned)role_names[i].role;
        }
    }
    return 0;
}

bool clinic_create(struct store *store, struct arena *arena, const char *name, const char **ret_id,
                   struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start_alone(&query, &statements[CLINIC_INSERT]);
    query_text(&query, id);
    query_text(&query, name);
    int ignored = 0;
    if (!query_count(store, &query, &ignored, reterr)) {
        return error_context(reterr, "create a clinic");
    }
    *ret_id = arena_strdup(arena, id);
    return true;
}

bool clinic_is_known(struct store *store, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CLINIC_EXISTS]);
    int found = 0;
    return query_count(store, &query, &found, reterr) &&
           (found == 1 || error_set(reterr, ERROR_NOT_FOUND, "no such clinic"));
}

bool clinic_second_factor_roles(struct store *store, unsigned *ret_roles, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CLINIC_FACTOR_ROLES]);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get who must have a second factor");
    }
    *ret_roles = rows.count == 1 ? (unsigned)rows_int(&rows, 0, 0) : 0;
    rows_clear(&rows);
    return true;
}

bool clinic_set_second_factor_roles(struct store *store, unsigned roles, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[CLINIC_SET_FACTOR_ROLES]);
    query_int(&query, roles);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool account_create(struct store *store, struct arena *arena, const char *username,
                    const char *display_name, const char *password_hash, unsigned roles,
                    const char **ret_id, struct error *reterr)
{
    char id[UUID_TEXT_SIZE];
    uuid_new(id);
    struct query query;
    query_start(&query, store, &statements[ACCOUNT_INSERT]);
    query_id(&query, id);
    query_text(&query, username);
    query_text(&query, display_name);
    query_text(&query, password_hash);
    query_int(&query, roles);
    int inserted = 0;
    if (!query_count(store, &query, &inserted, reterr)) {
        return error_context(reterr, "create an account");
    }
    if (inserted == 0) {
        return error_set(reterr, ERROR_CONFLICT, "username");
    }
    *ret_id = arena_strdup(arena, id);
    return true;
}

static void read_account(const struct rows *rows, struct arena *arena, int row,
                         struct account *account)
{
    *account = (struct account){
        .id = rows_text(rows, arena, row, 0),
        .username = rows_text(rows, arena, row, 1),
        .display_name = rows_text(rows, arena, row, 2),
        .roles = (unsigned)rows_int(rows, row, 3),
        .active = rows_bool(rows, row, 4),
        .created_at_us = rows_int64(rows, row, 5),
        .version = rows_int(rows, row, 6),
        .sign_in_issuer = rows_text(rows, arena, row, 7),
        .sign_in_subject = rows_text(rows, arena, row, 8),
        .must_change_password = rows_bool(rows, row, 9),
        .has_second_factor = rows_bool(rows, row, 10),
    };
}

bool account_get(struct store *store, struct arena *arena, const char *id,
                 struct account *ret_account, struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ACCOUNT_SELECT]);
    query_id(&query, id);
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "get an account");
    }
    bool found = rows.count == 1;
    if (found) {
        read_account(&rows, arena, 0, ret_account);
    }
    rows_clear(&rows);
    return found || error_set(reterr, ERROR_NOT_FOUND, "no such account");
}

static bool end_sessions(struct store *store, const char *id, struct error *reterr)
{
    struct query end;
    query_start(&end, store, &statements[ACCOUNT_END_SESSIONS]);
    query_id(&end, id);
    int ignored = 0;
    return query_count(store, &end, &ignored, reterr);
}

/* A column's new value, or NULL where it stays. */
static const char *flag_text(int flag)
{
    if (flag < 0) {
        return NULL;
    }
    return flag != 0 ? "true" : "false";
}

bool account_update(struct store *store, const char *id, int version,
                    const struct account_change *change, struct error *reterr)
{
    bool new_password = change->password_hash != NULL;
    struct query update;
    query_start(&update, store,
                &statements[new_password ? ACCOUNT_UPDATE_PASSWORD : ACCOUNT_UPDATE]);
    query_id(&update, id);
    query_int(&update, version);
    query_text(&update, change->display_name);
    query_optional(&update, (struct optional_number){change->roles >= 0, change->roles});
    query_text(&update, flag_text(change->active));
    query_text(&update, flag_text(change->must_change_password));
    if (new_password) {
        query_text(&update, change->password_hash);
    }
    struct query exists;
    query_start(&exists, store, &statements[ACCOUNT_EXISTS]);
    query_id(&exists, id);

    struct query *const queries[] = {&update, &exists};
    struct rows rows[2];
    if (!query_run_all(store, queries, 2, rows, reterr)) {
        return error_context(reterr, "change an account");
    }
    bool changed = rows[0].count == 1;
    bool found = rows[1].count == 1;
    rows_clear(&rows[0]);
    rows_clear(&rows[1]);
    if (!found) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such account");
    }
    if (!changed) {
        return error_set(reterr, ERROR_STALE, "the account has another version");
    }
    if (change->active != 0 && !new_password) {
        return true;
    }
    return end_sessions(store, id, reterr);
}

bool account_set_password(struct store *store, const char *id, const char *password_hash,
                          struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ACCOUNT_SET_PASSWORD]);
    query_id(&query, id);
    query_text(&query, password_hash);
    int changed = 0;
    if (!query_count(store, &query, &changed, reterr)) {
        return error_context(reterr, "set a password");
    }
    if (changed == 0) {
        return error_set(reterr, ERROR_NOT_FOUND, "no such account");
    }
    return end_sessions(store, id, reterr);
}

bool account_renew_hash(struct store *store, const char *id, int version, const char *password_hash,
                        struct error *reterr)
{
    struct query query;
    query_start(&query, store, &statements[ACCOUNT_RENEW_HASH]);
    query_id(&query, id);
    query_int(&query, version);
    query_text(&query, password_hash);
    int ignored = 0;
    return query_count(store, &query, &ignored, reterr);
}

bool administrator_create_first(struct store *store, struct arena *arena, const char *username,
                                const char *password_hash, const char **ret_id,
                                struct error *reterr)
{
    struct query lock;
    struct query exists;
    int ignored = 0;
    int found = 0;
    query_start(&lock, store, &statements[ADMINISTRATOR_LOCK]);
    query_start(&exists, store, &statements[ADMINISTRATOR_EXISTS]);
    if (!query_count(store, &lock, &ignored, reterr) ||
        !query_count(store, &exists, &found, reterr)) {
        return error_context(reterr, "make the first administrator");
    }
    if (found > 0) {
        return error_set(reterr, ERROR_CONFLICT, "the clinic has an active administrator");
    }
    return account_create(store, arena, username, username, password_hash, ROLE_ADMINISTRATOR,
                          ret_id, reterr);
}

bool administrator_recover(struct store *store, struct arena *arena, const char *username,
                           const char *password_hash, const char **ret_id, struct error *reterr)
{
    struct query find;
    query_start(&find, store, &statements[ADMINISTRATOR_FIND]);
    query_text(&find, username);
    struct rows rows;
    if (!query_run(store, &find, &rows, reterr)) {
        return error_context(reterr, "find an administrator");
    }
    *ret_id = rows.count == 1 ? rows_text(&rows, arena, 0, 0) : NULL;
    rows_clear(&rows);
    if (*ret_id == NULL) {
        return error_set(reterr, ERROR_NOT_FOUND, "no active administrator has that name");
    }
    return account_set_password(store, *ret_id, password_hash, reterr) &&
           second_factor_remove(store, *ret_id, reterr);
}

bool account_list(struct store *store, struct arena *arena, const struct store_page *page,
                  struct account **ret_items, size_t *ret_count, const char **ret_next_cursor,
                  struct error *reterr)
{
    struct cursor cursor;
    if (page->cursor != NULL && !cursor_read(page->cursor, 'a', &cursor, reterr)) {
        return false;
    }
    struct query query;
    query_start(&query, store, &statements[ACCOUNT_LIST]);
    query_text(&query, page->cursor != NULL ? cursor.id : NULL);
    query_int(&query, (int64_t)page->limit + 1); /* one more tells whether there is a next page */
    struct rows rows;
    if (!query_run(store, &query, &rows, reterr)) {
        return error_context(reterr, "list accounts");
    }
    int count = rows.count < page->limit ? rows.count : page->limit;
    struct account *items = arena_array(arena, (size_t)count, sizeof *items);
    for (int i = 0; i < count; i++) {
        read_account(&rows, arena, i, &items[i]);
    }
    *ret_next_cursor =
        rows.count > page->limit ? cursor_write(arena, 'a', 0, items[count - 1].id) : NULL;
    *ret_items = items;
    *ret_count = (size_t)count;
    rows_clear(&rows);
    return true;
}
