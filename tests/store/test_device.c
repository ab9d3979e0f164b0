/* Devices: where each stood at any time, and its last check at that time. */
#include "fixture.h"

#include "base/clock.h"
#include "store/store_device.h"

#include <stdlib.h>
#include <string.h>

static const int64_t hour_us = (int64_t)3600 * 1000000;
static const int64_t day_us = 24 * (int64_t)3600 * 1000000;
/* 2026-01-01T00:00:00Z */
static const int64_t january_us = INT64_C(1767225600) * 1000000;

static const char *create(struct fixture *fixture, const char *name, const char *room,
                          int due_every_days)
{
    const char *id = NULL;
    const struct device device = {
        .kind = EQUIPMENT_FLOWMETER,
        .name = name,
        .serial = "S-1",
        .signals = {[SIGNAL_FLOW] = true, [SIGNAL_VVOID] = true},
        .limits_json = "{\"flow\":{\"absolute\":0.5}}",
        .room = room,
        .in_use = true,
        .due_every_days = due_every_days,
        .since_us = january_us,
    };
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, device_create(fixture->store, fixture->arena, &device, &id, &fixture->error));
    fixture_commit(fixture);
    return id;
}

static struct device get(struct fixture *fixture, const char *id)
{
    struct device device = {0};
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, device_get(fixture->store, fixture->arena, id, &device, &fixture->error));
    fixture_commit(fixture);
    return device;
}

static void update(struct fixture *fixture, const struct device *device)
{
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, device_update(fixture->store, device, &fixture->error));
    fixture_commit(fixture);
}

static void move(struct fixture *fixture, const char *id, int64_t since_us, const char *room,
                 bool in_use)
{
    struct device device = get(fixture, id);
    device.since_us = since_us;
    device.room = room;
    device.in_use = in_use;
    update(fixture, &device);
}

static const char *verify(struct fixture *fixture, const char *device_id, int64_t at_us,
                          enum equipment_verdict verdict)
{
    const char *id = NULL;
    const struct device_verification verification = {
        .device_id = device_id,
        .verified_at_us = at_us,
        .verified_by = "A. Person",
        .verdict = verdict,
        .words = "All well.",
        .judgement_json = "{\"points\":[]}",
    };
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, device_verification_create(fixture->store, fixture->arena, &verification, &id,
                                              &fixture->error));
    fixture_commit(fixture);
    return id;
}

/* The only device of the room then; NULL when there is none. */
static const struct device *at(struct fixture *fixture, const char *room, int64_t at_us)
{
    struct device *items = NULL;
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, device_list_for_study(fixture->store, fixture->arena, room, at_us, &items,
                                         &count, &fixture->error));
    fixture_commit(fixture);
    assert_true(count <= 1);
    return count == 1 ? &items[0] : NULL;
}

static int places(struct fixture *fixture, const char *id)
{
    return (int)strtol(
        fixture_value(
            fixture,
            arena_printf(fixture->arena,
                         "select count(*) from penstock.device_place where device_id = '%s'", id)),
        NULL, 10);
}

static void a_device_comes_back_as_it_was(void **state)
{
    struct fixture *fixture = *state;
    const struct device device = get(fixture, create(fixture, "Meter", "Room of one", 7));

    assert_int_equal(device.kind, EQUIPMENT_FLOWMETER);
    assert_string_equal(device.name, "Meter");
    assert_string_equal(device.maker, "");
    assert_string_equal(device.serial, "S-1");
    assert_string_equal(device.limits_json, "{\"flow\":{\"absolute\":0.5}}");
    for (int i = 0; i < SIGNAL_COUNT; i++) {
        assert_int_equal(device.signals[i], i == SIGNAL_FLOW || i == SIGNAL_VVOID);
    }
    assert_string_equal(device.room, "Room of one");
    assert_true(device.in_use);
    assert_int_equal(device.due_every_days, 7);
    assert_true(device.since_us == january_us);
    assert_int_equal(device.version, 1);
    assert_null(device.last);
    assert_false(device.passed);
    assert_false(device.overdue);
    assert_true(device.due_at_us == 0);
}

static void an_id_is_given_once(void **state)
{
    struct fixture *fixture = *state;
    const char *id = create(fixture, "Once", "Room once", 0);
    const char *ignored = NULL;
    struct device device = {.id = id, .name = "x", .room = "x", .since_us = january_us};

    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                device_create(fixture->store, fixture->arena, &device, &ignored, &fixture->error));
    store_rollback(fixture->store);
    assert_string_equal(get(fixture, id).name, "Once");
}

static void a_change_needs_the_version(void **state)
{
    struct fixture *fixture = *state;
    struct device device = get(fixture, create(fixture, "Old name", "Room of change", 0));

    device.name = "New name";
    device.signals[SIGNAL_VVOID] = false;
    device.limits_json = "{}";
    update(fixture, &device);
    const struct device changed = get(fixture, device.id);
    assert_string_equal(changed.name, "New name");
    assert_false(changed.signals[SIGNAL_VVOID]);
    assert_string_equal(changed.limits_json, "{}");
    assert_int_equal(changed.version, 2);
    assert_int_equal(places(fixture, device.id), 1);

    fixture_begin(fixture, fixture->clinic_id);
    device.room = "Elsewhere";
    CHECK_FAILS(fixture, ERROR_STALE, device_update(fixture->store, &device, &fixture->error));
    store_rollback(fixture->store);
    assert_int_equal(places(fixture, device.id), 1);
    device.id = "00000000-0000-7000-8000-000000000000";
    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND, device_update(fixture->store, &device, &fixture->error));
    store_rollback(fixture->store);
}

/* Moved, retired and taken into use again: a study finds what was there at its time. */
static void studies_find_the_devices_of_their_time(void **state)
{
    struct fixture *fixture = *state;
    const char *id = create(fixture, "Wanderer", "Room from", 0);
    move(fixture, id, january_us + 10 * day_us, "Room to", true);
    move(fixture, id, january_us + 20 * day_us, "Room to", false);
    move(fixture, id, january_us + 30 * day_us, "Room from", true);

    static const struct {
        int64_t days;
        const char *room; /* NULL: nowhere */
    } rows[] = {{-1, NULL},      {0, "Room from"}, {9, "Room from"}, {10, "Room to"},
                {19, "Room to"}, {20, NULL},       {29, NULL},       {30, "Room from"}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        static const char *const rooms[] = {"Room from", "Room to"};
        for (int r = 0; r < 2; r++) {
            const bool wanted = rows[i].room != NULL && strcmp(rows[i].room, rooms[r]) == 0;
            const struct device *found = at(fixture, rooms[r], january_us + rows[i].days * day_us);
            print_message("day %d, %s\n", (int)rows[i].days, rooms[r]);
            assert_int_equal(found != NULL, wanted);
        }
    }
    assert_null(at(fixture, "Room to", january_us + 10 * day_us - 1));
    assert_int_equal(places(fixture, id), 4);
    assert_int_equal(get(fixture, id).version, 4);
}

/* A later row with an earlier beginning corrects what was recorded before. */
static void a_place_is_corrected_by_a_later_row(void **state)
{
    struct fixture *fixture = *state;
    const char *id = create(fixture, "Corrected", "Room right", 0);
    move(fixture, id, january_us + 10 * day_us, "Room wrong", true);
    move(fixture, id, january_us + 5 * day_us, "Room meant", true);

    assert_non_null(at(fixture, "Room right", january_us + 4 * day_us));
    assert_non_null(at(fixture, "Room meant", january_us + 5 * day_us));
    assert_non_null(at(fixture, "Room meant", january_us + 15 * day_us));
    assert_null(at(fixture, "Room wrong", january_us + 15 * day_us));
    assert_string_equal(get(fixture, id).room, "Room meant");
}

static void a_study_has_the_last_check_before_it(void **state)
{
    struct fixture *fixture = *state;
    const char *room = "Room of checks";
    const char *id = create(fixture, "Checked", room, 7);
    const char *third = verify(fixture, id, january_us + 12 * day_us, EQUIPMENT_INCOMPLETE);
    const char *first = verify(fixture, id, january_us + 2 * day_us, EQUIPMENT_FAILED);
    const char *second = verify(fixture, id, january_us + 3 * day_us, EQUIPMENT_PASSED);

    assert_null(at(fixture, room, january_us + 2 * day_us - 1)->last);
    const struct device *found = at(fixture, room, january_us + 2 * day_us);
    assert_string_equal(found->last->id, first);
    assert_int_equal(found->last->verdict, EQUIPMENT_FAILED);
    assert_string_equal(found->last->verified_by, "A. Person");
    assert_string_equal(found->last->words, "All well.");
    assert_string_equal(found->last->judgement_json, "{\"points\":[]}");
    assert_true(found->last->verified_at_us == january_us + 2 * day_us);
    assert_false(found->passed);
    assert_false(found->overdue);
    assert_true(found->due_at_us == january_us + 9 * day_us);

    found = at(fixture, room, january_us + 10 * day_us);
    assert_string_equal(found->last->id, second);
    assert_true(found->passed);
    assert_false(found->overdue);
    assert_true(at(fixture, room, january_us + 10 * day_us + 1)->overdue);

    found = at(fixture, room, january_us + 13 * day_us);
    assert_string_equal(found->last->id, third);
    assert_false(found->passed);
}

/* A check is repeated at once: the one recorded last counts. */
static void of_two_checks_at_once_the_later_recorded_counts(void **state)
{
    struct fixture *fixture = *state;
    const char *id = create(fixture, "Twice", "Room twice", 0);
    verify(fixture, id, january_us, EQUIPMENT_FAILED);
    const char *again = verify(fixture, id, january_us, EQUIPMENT_PASSED);

    assert_string_equal(at(fixture, "Room twice", january_us)->last->id, again);
}

/* The interval that held at the time decides, not today's. */
static void overdue_by_the_interval_of_the_time(void **state)
{
    struct fixture *fixture = *state;
    const char *room = "Room of intervals";
    const char *id = create(fixture, "Interval", room, 0);
    verify(fixture, id, january_us, EQUIPMENT_PASSED);
    struct device device = get(fixture, id);
    assert_false(device.overdue);
    assert_true(device.due_at_us == 0);
    device.due_every_days = 5;
    device.since_us = january_us + 20 * day_us;
    update(fixture, &device);

    assert_false(at(fixture, room, january_us + 19 * day_us)->overdue);
    assert_true(at(fixture, room, january_us + 21 * day_us)->overdue);
    assert_true(get(fixture, id).overdue);
}

/* What will be due is not overdue yet, also for a study to come. */
static void nothing_is_overdue_before_its_time(void **state)
{
    struct fixture *fixture = *state;
    const int64_t now_us = clock_now_us();
    const char *id = create(fixture, "Soon", "Room soon", 1);
    verify(fixture, id, now_us - 23 * hour_us, EQUIPMENT_PASSED);

    assert_false(get(fixture, id).overdue);
    assert_false(at(fixture, "Room soon", now_us + 10 * day_us)->overdue);
    verify(fixture, create(fixture, "Late", "Room late", 1), now_us - 25 * hour_us,
           EQUIPMENT_PASSED);
    assert_true(at(fixture, "Room late", now_us)->overdue);
}

static void lists_are_filtered_and_paged(void **state)
{
    struct fixture *fixture = *state;
    const char *room = "Room of lists";
    static const char *const names[] = {"a", "b", "c", "c", "e"};
    for (size_t i = 0; i < 5; i++) {
        const char *id = create(fixture, names[4 - i], room, 0);
        if (i == 0) {
            move(fixture, id, january_us + day_us, room, false);
        }
    }
    struct device_filter filter = {.room = room};
    struct store_page page = {.limit = 2};
    size_t total = 0;
    fixture_begin(fixture, fixture->clinic_id);
    do {
        struct device *items = NULL;
        size_t count = 0;
        CHECK(fixture, device_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                                   &page.cursor, &fixture->error));
        for (size_t i = 0; i < count; i++) {
            assert_string_equal(items[i].name, names[total++]);
        }
    } while (page.cursor != NULL);
    assert_int_equal(total, 5);

    struct device *items = NULL;
    size_t count = 0;
    page = (struct store_page){.limit = 200};
    filter.by_in_use = true;
    CHECK(fixture, device_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                               &page.cursor, &fixture->error));
    assert_int_equal(count, 1);
    assert_string_equal(items[0].name, "e");
    filter.in_use = true;
    CHECK(fixture, device_list(fixture->store, fixture->arena, &filter, &page, &items, &count,
                               &page.cursor, &fixture->error));
    assert_int_equal(count, 4);
    fixture_commit(fixture);
}

static void checks_are_listed_newest_first(void **state)
{
    struct fixture *fixture = *state;
    const char *id = create(fixture, "Listed", "Room listed", 0);
    const char *ids[3];
    for (int i = 0; i < 3; i++) {
        ids[i] = verify(fixture, id, january_us + i * day_us, EQUIPMENT_PASSED);
    }
    struct device_verification *items = NULL;
    struct store_page page = {.limit = 2};
    size_t count = 0;
    fixture_begin(fixture, fixture->clinic_id);
    CHECK(fixture, device_verification_list(fixture->store, fixture->arena, id, &page, &items,
                                            &count, &page.cursor, &fixture->error));
    assert_int_equal(count, 2);
    assert_string_equal(items[0].id, ids[2]);
    assert_string_equal(items[1].id, ids[1]);
    CHECK(fixture, device_verification_list(fixture->store, fixture->arena, id, &page, &items,
                                            &count, &page.cursor, &fixture->error));
    assert_int_equal(count, 1);
    assert_string_equal(items[0].id, ids[0]);
    assert_null(page.cursor);

    struct device_verification one = {0};
    CHECK(fixture,
          device_verification_get(fixture->store, fixture->arena, ids[1], &one, &fixture->error));
    assert_string_equal(one.device_id, id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                device_verification_list(fixture->store, fixture->arena, ids[0], &page, &items,
                                         &count, &page.cursor, &fixture->error));
    store_rollback(fixture->store);
}

static void a_check_is_of_a_device_that_there_is(void **state)
{
    struct fixture *fixture = *state;
    const char *device_id = create(fixture, "Here", "Room here", 0);
    const char *id = verify(fixture, device_id, january_us, EQUIPMENT_PASSED);
    struct device_verification verification = {.id = id,
                                               .device_id = device_id,
                                               .verified_at_us = january_us,
                                               .verified_by = "x",
                                               .words = "x",
                                               .judgement_json = "{}"};
    const char *ignored = NULL;

    fixture_begin(fixture, fixture->clinic_id);
    CHECK_FAILS(fixture, ERROR_CONFLICT,
                device_verification_create(fixture->store, fixture->arena, &verification, &ignored,
                                           &fixture->error));
    store_rollback(fixture->store);
    verification.id = NULL;
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                device_verification_create(fixture->store, fixture->arena, &verification, &ignored,
                                           &fixture->error));
    store_rollback(fixture->store);
    struct device device = {0};
    fixture_begin(fixture, fixture->other_clinic_id);
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                device_get(fixture->store, fixture->arena, device_id, &device, &fixture->error));
    CHECK_FAILS(fixture, ERROR_NOT_FOUND,
                device_verification_get(fixture->store, fixture->arena, id,
                                        &(struct device_verification){0}, &fixture->error));
    store_rollback(fixture->store);
}

/* Whoever reads a study by a link or a referral reads what was known of its equipment. */
static void every_reach_sees_the_equipment(void **state)
{
    struct fixture *fixture = *state;
    static const unsigned reaches[] = {STORE_REACH_NOBODY, STORE_REACH_OPEN, STORE_REACH_REFERRED,
                                       STORE_REACH_LINK};
    create(fixture, "Seen", "Room seen", 0);
    for (size_t i = 0; i < sizeof reaches / sizeof reaches[0]; i++) {
        struct device *items = NULL;
        size_t count = 0;
        fixture_begin(fixture, fixture->clinic_id);
        store_narrow(fixture->store, reaches[i]);
        CHECK(fixture, device_list_for_study(fixture->store, fixture->arena, "Room seen",
                                             january_us, &items, &count, &fixture->error));
        assert_int_equal(count, 1);
        store_rollback(fixture->store);
    }
}

/* Also for the owner, whom no right keeps from it. */
static void history_is_never_changed(void **state)
{
    struct fixture *fixture = *state;
    static const char *const attempts[] = {
        "update penstock.device_place set room = 'x'",
        "delete from penstock.device_place",
        "truncate penstock.device_place",
        "update penstock.device_verification set verdict = 'passed'",
        "delete from penstock.device_verification",
        "truncate penstock.device_verification",
        "delete from penstock.device",
        "truncate penstock.device cascade",
    };
    verify(fixture, create(fixture, "Lasting", "Room lasting", 0), january_us, EQUIPMENT_FAILED);
    for (size_t i = 0; i < sizeof attempts / sizeof attempts[0]; i++) {
        print_message("%s\n", attempts[i]);
        assert_string_equal(fixture_sqlstate(fixture, fixture->admin, attempts[i]), "PS002");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(a_device_comes_back_as_it_was, fixture_after_test),
        cmocka_unit_test_teardown(an_id_is_given_once, fixture_after_test),
        cmocka_unit_test_teardown(a_change_needs_the_version, fixture_after_test),
        cmocka_unit_test_teardown(studies_find_the_devices_of_their_time, fixture_after_test),
        cmocka_unit_test_teardown(a_place_is_corrected_by_a_later_row, fixture_after_test),
        cmocka_unit_test_teardown(a_study_has_the_last_check_before_it, fixture_after_test),
        cmocka_unit_test_teardown(of_two_checks_at_once_the_later_recorded_counts,
                                  fixture_after_test),
        cmocka_unit_test_teardown(overdue_by_the_interval_of_the_time, fixture_after_test),
        cmocka_unit_test_teardown(nothing_is_overdue_before_its_time, fixture_after_test),
        cmocka_unit_test_teardown(lists_are_filtered_and_paged, fixture_after_test),
        cmocka_unit_test_teardown(checks_are_listed_newest_first, fixture_after_test),
        cmocka_unit_test_teardown(a_check_is_of_a_device_that_there_is, fixture_after_test),
        cmocka_unit_test_teardown(every_reach_sees_the_equipment, fixture_after_test),
        cmocka_unit_test_teardown(history_is_never_changed, fixture_after_test),
    };

    return cmocka_run_group_tests(tests, fixture_setup, fixture_teardown);
}
