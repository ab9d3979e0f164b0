/* 20,000 damaged documents from a seeded generator: whatever comes, the reader gives one of its
 * three outcomes, with faults exactly when the document is refused. The sanitizers watch. */
#include "documents.h"

#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { ROUNDS = 20000, BODY_MAX = 4096, MUTATIONS_MAX = 3 };

static const char *const seeds[] = {
    "{\"type\":\"cystometry\",\"started_at\":\"2026-03-02T09:31:05+01:00\",\"conditions\":{"
    "\"position\":\"sitting\",\"filling_rate_ml_min\":50},\"channels\":[{\"signal\":\"pves\","
    "\"unit\":\"cm[H2O]\",\"rate_hz\":10,\"start_s\":0,\"samples\":[12.0,12.1,null,-3]}],"
    "\"events\":[{\"at_s\":0.1,\"code\":\"first_sensation\",\"note\":\"n\"}]}",
    "{\"type\":\"uroflowmetry\",\"started_at\":\"2026-03-02T09:31:05Z\",\"patient\":{\"sex\":"
    "\"male\",\"age_years\":61,\"weight_kg\":80},\"channels\":[{\"signal\":\"flow\",\"unit\":"
    "\"mL/s\",\"rate_hz\":10,\"encoding\":\"int16\",\"scale\":0.1,\"offset\":0,"
    "\"data\":\"AQD+/wCA/38BgA==\"}]}",
    "{\"type\":\"pressure_flow\",\"started_at\":\"2026-03-02T09:31:05Z\",\"channels\":[{"
    "\"signal\":\"pabd\",\"unit\":\"kPa\",\"rate_hz\":0.5,\"encoding\":\"float32\","
    "\"data\":\"AADAPwAAwH8AAACAmplBQQ==\"}],\"events\":[]}",
};

static const char *const tokens[] = {
    "null",    "true",      "[]",          "{}",      "\"\"",     "-1",
    "0",       "1e308",     "1e999",       "NaN",     "[[[[",     "}}",
    "\"",      ",",         ":",           "\\u0000", "\xff",     "\"samples\"",
    "A",       "====",      "1e-5",        "99999",   "\"pves\"", "\"emg\"",
    "\"kPa\"", "\"int16\"", "\"float32\"", "\\",      "\n",       "9007199254740993",
};

static uint64_t next_random(uint64_t *state)
{
    /* xorshift64, Marsaglia 2003 */
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static size_t below(uint64_t *state, size_t limit)
{
    return (size_t)(next_random(state) % limit);
}

static size_t splice(char *body, size_t length, size_t at, size_t removed, const char *inserted,
                     size_t inserted_length)
{
    if (length - removed + inserted_length > BODY_MAX) {
        return length;
    }
    memmove(body + at + inserted_length, body + at + removed, length - at - removed);
    memcpy(body + at, inserted, inserted_length);
    return length - removed + inserted_length;
}

/* Another value in the place of the one after the next colon, so that the result is JSON still. */
static size_t replace_value(char *body, size_t length, size_t at, uint64_t *random)
{
    static const char *const values[] = {
        "null",  "true", "[]",   "{}",       "\"\"",    "-1",          "0",
        "1e308", "0.25", "61.5", "\"pabd\"", "\"kPa\"", "\"float32\"", "[1,2]",
    };
    const char *value = values[below(random, sizeof values / sizeof values[0])];
    while (at < length && body[at] != ':') {
        at++;
    }
    at += at < length ? 1 : 0;
    size_t end = at;
    while (end < length && strchr(",]}", body[end]) == NULL) {
        end++;
    }
    return splice(body, length, at, end - at, value, strlen(value));
}

/* The next digit becomes another, or the next letter. */
static size_t replace_character(char *body, size_t length, size_t at, uint64_t *random)
{
    while (at < length && body[at] < '0') {
        at++;
    }
    if (at < length && body[at] <= '9') {
        body[at] = (char)('0' + below(random, 10));
    } else if (at < length && body[at] >= 'a' && body[at] <= 'z') {
        body[at] = (char)('a' + below(random, 26));
    }
    return length;
}

static size_t mutate(char *body, size_t length, uint64_t *random)
{
    enum { SPAN_MAX = 24, KINDS = 12 };

    char span[SPAN_MAX];
    size_t at = length == 0 ? 0 : below(random, length);
    size_t span_length = below(random, SPAN_MAX);
    span_length = span_length < length - at ? span_length : length - at;
    const char *token = tokens[below(random, sizeof tokens / sizeof tokens[0])];
    switch (below(random, KINDS)) {
    case 0: /* one byte becomes another */
        span[0] = (char)below(random, 256);
        return splice(body, length, at, (size_t)(length > at ? 1 : 0), span, 1);
    case 1: /* a span is lost */
        return splice(body, length, at, span_length, "", 0);
    case 2: /* a span is repeated elsewhere */
        memcpy(span, body + at, span_length);
        return splice(body, length, below(random, length + 1), 0, span, span_length);
    case 3: /* the end is lost */
        return at;
    case 4: /* a token is put in */
        return splice(body, length, at, 0, token, strlen(token));
    case 5: /* a token replaces a span */
        return splice(body, length, at, span_length, token, strlen(token));
    case 6:
    case 7:
        return replace_value(body, length, at, random);
    default:
        return replace_character(body, length, at, random);
    }
}

static void check_sound(struct arena *arena, const struct recording_document *document,
                        const struct fault_list *faults)
{
    assert_non_null(document);
    assert_int_equal(faults->count, 0);
    assert_in_range(document->channel_count, 1, LIMIT_CHANNELS);
    double duration_s = recording_document_duration_s(document);
    assert_true(duration_s > 0.0 && duration_s <= LIMIT_DURATION_S);
    const struct recording *recording = recording_from_document(arena, document);
    for (size_t i = 0; i < recording->channel_count; i++) {
        const struct channel *channel = &recording->channels[i];
        assert_true(channel->rate_hz > 0.0);
        assert_true(channel->sample_count > 0);
        assert_ptr_equal(channel, recording_channel(recording, channel->signal));
        for (size_t j = 0; j < channel->sample_count; j++) {
            assert_true(isinf(channel->samples[j]) == 0);
        }
    }
    for (size_t i = 1; i < recording->event_count; i++) {
        assert_true(recording->events[i - 1].at_s <= recording->events[i].at_s);
    }
}

static enum json_read_outcome check_body(const char *body, size_t length,
                                         enum recording_json_use use)
{
    struct arena *arena = arena_new();
    const struct recording_document *document = NULL;
    struct fault_list faults;
    fault_list_init(&faults, arena);
    enum json_read_outcome outcome =
        recording_json_read(arena, body, length, use, &document, &faults);
    switch (outcome) {
    case JSON_READ_OK:
        check_sound(arena, document, &faults);
        break;
    case JSON_READ_MALFORMED:
        assert_null(document);
        assert_int_equal(faults.count, 1);
        assert_string_equal(faults.items[0].pointer, "");
        break;
    case JSON_READ_INVALID:
        assert_null(document);
        assert_true(faults.count > 0);
        break;
    }
    arena_free(arena);
    return outcome;
}

static void test_damaged_documents(void **state)
{
    (void)state;
    uint64_t random = UINT64_C(0x9e3779b97f4a7c15);
    size_t seen[3] = {0};
    for (size_t round = 0; round < ROUNDS; round++) {
        char work[BODY_MAX + 1] = {0};
        const char *seed = seeds[round % (sizeof seeds / sizeof seeds[0])];
        size_t length = strlen(seed);
        memcpy(work, seed, length + 1);
        for (size_t i = 1 + below(&random, MUTATIONS_MAX); i > 0; i--) {
            length = mutate(work, length, &random);
        }
        /* An exact copy, so that reading one byte too far is seen. */
        char *body = malloc(length > 0 ? length : 1);
        assert_non_null(body);
        memcpy(body, work, length);
        enum json_read_outcome outcome = check_body(
            body, length, round % 2 == 0 ? RECORDING_JSON_ANALYSE : RECORDING_JSON_STORE);
        seen[outcome]++;
        free(body);
    }
    print_message("read %zu, malformed %zu, invalid %zu\n", seen[JSON_READ_OK],
                  seen[JSON_READ_MALFORMED], seen[JSON_READ_INVALID]);
    /* The generator must reach all three outcomes often, or the test says little. */
    assert_true(seen[JSON_READ_OK] > ROUNDS / 50);
    assert_true(seen[JSON_READ_MALFORMED] > ROUNDS / 10);
    assert_true(seen[JSON_READ_INVALID] > ROUNDS / 10);
}

static void test_undamaged_documents(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof seeds / sizeof seeds[0]; i++) {
        assert_int_equal(check_body(seeds[i], strlen(seeds[i]), RECORDING_JSON_ANALYSE),
                         JSON_READ_OK);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_undamaged_documents),
        cmocka_unit_test(test_damaged_documents),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
