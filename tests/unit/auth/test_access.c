/* The table of who may do what: its reach, and what scopes take away. */
#include "auth/access.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
/* cmocka needs the four above first */
#include <cmocka.h>

#include <string.h>

static struct principal with(unsigned roles, const char *scopes)
{
    return (struct principal){.roles = roles, .scopes = scopes, .is_token = scopes != NULL};
}

static void no_role_means_nothing(void **state)
{
    (void)state;
    struct principal nobody = with(0, NULL);
    struct principal everybody = with(ROLE_ANY, NULL);
    for (unsigned resource = 0; resource < ACCESS_RESOURCE_COUNT + 3; resource++) {
        for (unsigned action = 0; action <= 64; action++) {
            assert_false(access_allowed(&nobody, resource, action));
            assert_int_equal(access_reach(&nobody, resource, action), STORE_REACH_NOBODY);
        }
        assert_false(access_allowed(&everybody, resource, 0));
        assert_false(access_allowed(&everybody, resource, 32));
    }
    assert_false(access_allowed(&everybody, ACCESS_PUBLIC, ACCESS_READ));
    assert_false(access_allowed(&everybody, ACCESS_RESOURCE_COUNT, ACCESS_READ));
}

/* The roles of product.md: who sees whose data. */
static void reach_follows_the_role(void **state)
{
    (void)state;

    static const struct {
        unsigned roles;
        unsigned resource;
        unsigned action;
        unsigned reach;
    } cases[] = {
        {ROLE_ROOM, ACCESS_STUDIES, ACCESS_READ, STORE_REACH_OPEN},
        {ROLE_ROOM, ACCESS_RECORDINGS, ACCESS_CREATE, STORE_REACH_OPEN},
        {ROLE_CLINICIAN, ACCESS_RECORDINGS, ACCESS_READ, STORE_REACH_CLINIC},
        {ROLE_PHYSICIAN, ACCESS_SUMMARIES, ACCESS_READ, STORE_REACH_CLINIC},
        {ROLE_REFERRER, ACCESS_SUMMARIES, ACCESS_READ, STORE_REACH_REFERRED},
        {ROLE_REFERRER | ROLE_ROOM, ACCESS_SUMMARIES, ACCESS_READ,
         STORE_REACH_REFERRED | STORE_REACH_OPEN},
        {ROLE_REFERRER | ROLE_CLINICIAN, ACCESS_STUDIES, ACCESS_READ, STORE_REACH_CLINIC},
        {ROLE_AUDITOR, ACCESS_AUDIT, ACCESS_READ, STORE_REACH_NOBODY},
        {ROLE_ADMINISTRATOR, ACCESS_ACCOUNTS, ACCESS_CREATE, STORE_REACH_NOBODY},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct principal caller = with(cases[i].roles, NULL);
        assert_true(access_allowed(&caller, cases[i].resource, cases[i].action));
        assert_int_equal(access_reach(&caller, cases[i].resource, cases[i].action), cases[i].reach);
    }
}

static void those_who_treat_nobody_reach_nobody(void **state)
{
    (void)state;
    struct principal caller = with(ROLE_AUDITOR | ROLE_ADMINISTRATOR, NULL);
    for (unsigned resource = 0; resource < ACCESS_RESOURCE_COUNT; resource++) {
        for (unsigned action = 1; action <= ACCESS_RESTORE; action <<= 1) {
            assert_int_equal(access_reach(&caller, resource, action), STORE_REACH_NOBODY);
        }
    }
    static const unsigned clinical[] = {ACCESS_PATIENTS,  ACCESS_STUDIES,      ACCESS_RECORDINGS,
                                        ACCESS_SUMMARIES, ACCESS_PATIENT_FILE, ACCESS_RESEARCH};
    for (size_t i = 0; i < sizeof clinical / sizeof clinical[0]; i++) {
        assert_false(access_allowed(&caller, clinical[i], ACCESS_READ));
    }
}

static void scopes_only_take_away(void **state)
{
    (void)state;
    struct principal caller = with(ROLE_INTEGRATION, "studies:read accounts:create");
    assert_true(access_allowed(&caller, ACCESS_STUDIES, ACCESS_READ));
    assert_false(access_allowed(&caller, ACCESS_STUDIES, ACCESS_CREATE));
    assert_false(access_allowed(&caller, ACCESS_PATIENTS, ACCESS_READ));
    assert_false(access_allowed(&caller, ACCESS_ACCOUNTS, ACCESS_CREATE)); /* not the role's */
    assert_int_equal(access_reach(&caller, ACCESS_PATIENTS, ACCESS_READ), STORE_REACH_NOBODY);
    caller.scopes = "nonsense";
    assert_false(access_allowed(&caller, ACCESS_STUDIES, ACCESS_READ));
}

static void scopes_are_read_strictly(void **state)
{
    (void)state;

    static const struct {
        const char *text;
        const char *bad;
    } cases[] = {
        {"patients:read", NULL},
        {"patients:read studies:create recordings:restore", NULL},
        {"", ""},
        {"patients", "patients"},
        {"patients:", "patients:"},
        {":read", ":read"},
        {"patients:read ", ""},
        {"patients:read  studies:read", " studies:read"},
        {"patients:read studies:write", "studies:write"},
        {"public:read", "public:read"},
        {"Patients:read", "Patients:read"},
        {"patients:read,studies:read", "patients:read,studies:read"},
        {"patients:read:create", "patients:read:create"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct access_scopes scopes;
        const char *bad = NULL;
        assert_int_equal(access_scopes_read(cases[i].text, &scopes, &bad), cases[i].bad == NULL);
        if (cases[i].bad != NULL) {
            assert_string_equal(bad, cases[i].bad);
        }
    }
    struct access_scopes scopes;
    const char *bad = NULL;
    assert_true(access_scopes_read("patients:read patients:change", &scopes, &bad));
    assert_int_equal(scopes.actions[ACCESS_PATIENTS], ACCESS_READ | ACCESS_CHANGE);
    assert_int_equal(scopes.actions[ACCESS_STUDIES], 0);
}

static void names_fit(void **state)
{
    (void)state;
    for (unsigned resource = 0; resource < ACCESS_RESOURCE_COUNT; resource++) {
        const char *name = access_resource_name(resource);
        assert_non_null(name);
        assert_int_equal(strspn(name, "abcdefghijklmnopqrstuvwxyz_"), strlen(name));
    }
    assert_null(access_resource_name(ACCESS_RESOURCE_COUNT));
    assert_string_equal(access_action_name(ACCESS_CHANGE), "change");
    assert_null(access_action_name(ACCESS_ANY_ACTION));
    assert_null(access_action_name(0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_role_means_nothing),
        cmocka_unit_test(reach_follows_the_role),
        cmocka_unit_test(those_who_treat_nobody_reach_nobody),
        cmocka_unit_test(scopes_only_take_away),
        cmocka_unit_test(scopes_are_read_strictly),
        cmocka_unit_test(names_fit),
    };
    return cmocka_run_group_tests_name("auth: access", tests, NULL, NULL);
}
