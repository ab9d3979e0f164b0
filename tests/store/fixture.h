/* A database of the test program's own, migrated, owned by a role that is no superuser: row-level
 * security binds such an owner, so that look-ups that rely on a superuser's exemption fail here. */
#ifndef TESTS_STORE_FIXTURE_H
#define TESTS_STORE_FIXTURE_H

#include "base/arena.h"
#include "base/error.h"
#include "store/store.h"
#include "store/store_account.h"

#include <libpq-fe.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>

struct fixture {
    char database[64];
    char owner_role[64];
    char *superuser; /* connection strings into the database */
    char *owner;     /* may migrate; the store gives the privileges up by itself */
    PGconn *admin;   /* superuser's connection into the database */
    struct arena *arena;
    struct store *store;
    struct error error;
    const char *clinic_id;
    const char *other_clinic_id;
    const char *account_id;
    int recordings_made;
};

/* cmocka group setup and teardown. The first makes the database without migrating it, the second
 * migrates it too and makes two clinics and an account. Both fail, rather than skip, without
 * PENSTOCK_TEST_DATABASE. */
int fixture_setup_empty(void **state);
int fixture_setup(void **state);
int fixture_teardown(void **state);

/* cmocka test teardown: rolls back what a failed assertion left open. */
int fixture_after_test(void **state);

/* Connection string into the fixture's database with a role set at the start. Released with the
 * fixture's arena. */
const char *fixture_conninfo(struct fixture *fixture, const char *role);

/* Runs SQL as the superuser; fails the test when it fails. */
void fixture_sql(struct fixture *fixture, const char *sql);
/* The first column of the first row of a query, on the fixture's arena; "" when there is none. */
const char *fixture_value(struct fixture *fixture, const char *sql);

/* A connection of penstock_app that sees one clinic, for trying what the store never would. */
PGconn *fixture_app_connection(struct fixture *fixture, const char *clinic_id);
/* Runs SQL and returns its SQLSTATE, "00000" for success. */
const char *fixture_sqlstate(struct fixture *fixture, PGconn *connection, const char *sql);

/* Begins a transaction of a clinic, and ends it; they fail the test when they fail. */
void fixture_begin(struct fixture *fixture, const char *clinic_id);
void fixture_commit(struct fixture *fixture);

/* The test fails with the error's detail unless `good`. */
void fixture_check(const struct fixture *fixture, bool good, const char *what);
#define CHECK(fixture, call) fixture_check((fixture), (call), #call)

/* The call must fail with this kind of error. */
#define CHECK_FAILS(fixture, kind_wanted, call)                                                    \
    do {                                                                                           \
        assert_false(call);                                                                        \
        assert_int_equal((fixture)->error.kind, (kind_wanted));                                    \
    } while (0)

/* A patient and a study of the open transaction's clinic. */
const char *fixture_patient(struct fixture *fixture, const char *mrn);
const char *fixture_study(struct fixture *fixture, const char *patient_id);

/* Sets a study's status, outside a transaction of the store. To final, and from there to amended,
 * with everything that the database demands of a signature: see schema/0014_signatures.sql. */
void fixture_set_status(struct fixture *fixture, const char *study_id, const char *status);

/* A token of the open transaction's clinic, without scopes, that lasts for ages. */
const char *fixture_token(struct fixture *fixture, const char *name,
                          const unsigned char hash[SECRET_HASH_BYTES], unsigned roles);

/* A letter about a study that is signed, sent in a batch. */
void fixture_send_letter(struct fixture *fixture, const char *study);

#endif
