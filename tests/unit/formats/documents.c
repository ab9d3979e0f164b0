#include "documents.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static const char DEFAULT_MEMBERS[] =
    "\"type\":\"pressure_flow\",\"started_at\":\"2026-03-02T09:31:05+01:00\"";
static const char DEFAULT_CHANNELS[] = "[{\"signal\":\"pves\",\"unit\":\"cm[H2O]\",\"rate_hz\":10,"
                                       "\"start_s\":0,\"samples\":[12.0,12.1,null]}]";
static const char DEFAULT_EVENTS[] = "[]";

static const char *or_default(const char *text, const char *fallback)
{
    return text == NULL ? fallback : text;
}

const char *documents_text(struct arena *arena, const struct document_parts *parts)
{
    return arena_printf(
        arena, "{%s,\"channels\":%s,\"events\":%s}", or_default(parts->members, DEFAULT_MEMBERS),
        or_default(parts->channels, DEFAULT_CHANNELS), or_default(parts->events, DEFAULT_EVENTS));
}

enum json_read_outcome documents_read(struct arena *arena, const char *text,
                                      enum recording_json_use use,
                                      const struct recording_document **ret_document,
                                      struct fault_list *faults)
{
    fault_list_init(faults, arena);
    return recording_json_read(arena, text, strlen(text), use, ret_document, faults);
}

const struct recording_document *documents_read_sound(struct arena *arena,
                                                      const struct document_parts *parts)
{
    const struct recording_document *document = NULL;
    struct fault_list faults;
    enum json_read_outcome outcome = documents_read(arena, documents_text(arena, parts),
                                                    RECORDING_JSON_STORE, &document, &faults);
    if (outcome != JSON_READ_OK) {
        fail_msg("unexpected fault %s: %s", faults.items[0].pointer, faults.items[0].detail);
    }
    assert_non_null(document);
    return document;
}

static void check_case(const struct fault_case *row)
{
    struct arena *arena = arena_new();
    struct fault_list faults;
    const struct recording_document *document = NULL;
    enum json_read_outcome outcome =
        documents_read(arena, documents_text(arena, &row->parts), row->use, &document, &faults);
    if (outcome != JSON_READ_INVALID || faults.count != 1 || document != NULL) {
        fail_msg("%s: outcome %d, %zu faults (second: %s)", row->what, (int)outcome, faults.count,
                 faults.count > 1 ? faults.items[1].pointer : "none");
    }
    if (strcmp(faults.items[0].pointer, row->pointer) != 0 ||
        strstr(faults.items[0].detail, row->detail) == NULL) {
        fail_msg("%s: %s: %s", row->what, faults.items[0].pointer, faults.items[0].detail);
    }
    arena_free(arena);
}

void documents_check_faults(const struct fault_case *cases, size_t count)
{
    assert_true(count > 0);
    for (size_t i = 0; i < count; i++) {
        check_case(&cases[i]);
    }
}

void documents_assert_close(double actual, double expected, double tolerance)
{
    if (!(fabs(actual - expected) <= tolerance)) {
        fail_msg("%.17g is not %.17g", actual, expected);
    }
}
