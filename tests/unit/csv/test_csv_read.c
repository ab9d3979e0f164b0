/* Reading CSV: what is taken, and a fault with row and column for everything else. */
#include "tables.h"

#include "base/text.h"
#include "formats/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define MISSING ((double)NAN)

static void assert_values(struct arena *arena, const struct document_channel *channel,
                          enum signal_kind signal, double rate_hz, double start_s, size_t count,
                          const double *expected)
{
    const double *values = tables_values(arena, channel, signal, rate_hz, start_s, count);
    for (size_t i = 0; i < count; i++) {
        if (!tables_same(values[i], expected[i])) {
            fail_msg("%s, sample %zu: %.17g", signal_name(signal), i, values[i]);
        }
    }
}

static void one_grid_is_read(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "time_s,pves [cm[H2O]],flow [mL/s]\n0,12.5,0\n0.1,,3\n0.2,-13,1e1\n",
        "\xEF\xBB\xBFtime_s,pves [cm[H2O]],flow [mL/s]\r\n0,12.5,0\r\n0.1,,3\r\n0.2,-13,10\r\n\r\n",
        "\"time_s\",\"pves [cm[H2O]]\",\"flow [mL/s]\"\n\"0\",\"12.5\",0\n0.1,\"\",3\n0.2,-13,10",
        "time_s , pves [cm[H2O]], flow [mL/s] \n0.0, 12.5, 0\n0.1, , 3.00\n0.2 , -13,+10\n",
        "time_s;pves [cm[H2O]];flow [mL/s]\n0;12,5;0\n0,1;;3,0\n0,2;-13;1e1\n",
        "time_s,pves [cm[H2O]],flow [mL/s] for 3 samples\n0,12.5,0\n0.1,,3\n0.2,-13,10\n",
    };
    static const double pves[] = {12.5, MISSING, -13};
    static const double flow[] = {0, 3, 10};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct arena *arena = arena_new();
        const struct recording_document *document = tables_read(arena, texts[i]);
        assert_int_equal(document->channel_count, 2);
        assert_int_equal(document->event_count, 0);
        assert_values(arena, &document->channels[0], SIGNAL_PVES, 10, 0, 3, pves);
        assert_values(arena, &document->channels[1], SIGNAL_FLOW, 10, 0, 3, flow);
        assert_string_equal(document->channels[0].unit, "cm[H2O]");
        assert_int_equal(document->channels[0].samples.missing, 1);
        arena_free(arena);
    }
}

static void units_are_kept_and_converted(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document =
        tables_read(arena, "time_s,pves [kPa],vinf[L]\n0,1,2\n1,1,2\n");
    assert_string_equal(document->channels[0].unit, "kPa");
    assert_true(fabs(document->channels[0].to_canonical - 10.19716) < 1e-4);
    assert_string_equal(document->channels[1].unit, "L");
    assert_true(tables_same(document->channels[1].to_canonical, 1000));
    arena_free(arena);
}

static void rates_and_starts_of_columns_are_read(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document =
        tables_read(arena, "time_s,pves [cm[H2O]],flow [mL/s] @ 5 Hz from 0.2 s,"
                           "vvoid [mL] from 0.3 s,pabd [cm[H2O]] for 2 samples\n"
                           "0.0,1,,,6\n0.1,2,,,\n0.2,3,4,,\n0.3,4,,5,\n0.4,5,,6,\n");
    static const double pves[] = {1, 2, 3, 4, 5};
    static const double flow[] = {4, MISSING};
    static const double vvoid[] = {5, 6};
    static const double pabd[] = {6, MISSING};
    assert_values(arena, &document->channels[0], SIGNAL_PVES, 10, 0, 5, pves);
    assert_values(arena, &document->channels[1], SIGNAL_FLOW, 5, 0.2, 2, flow);
    assert_values(arena, &document->channels[2], SIGNAL_VVOID, 10, 0.3, 2, vvoid);
    assert_values(arena, &document->channels[3], SIGNAL_PABD, 10, 0, 2, pabd);
    arena_free(arena);
}

/* No common grid: a row for each distinct time. */
static void merged_rates_are_read(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document = tables_read(
        arena, "time_s,pves [cm[H2O]] @ 10 Hz,flow [mL/s] @ 8 Hz,events\n"
               "0,1,2,\n0.1,3,,\n0.125,,4,\n0.15,,,cough\n0.2,,,\n0.25,,6,\n0.3,7,,\n0.375,,8,\n");
    static const double pves[] = {1, 3, MISSING, 7};
    static const double flow[] = {2, 4, 6, 8};
    assert_values(arena, &document->channels[0], SIGNAL_PVES, 10, 0, 4, pves);
    assert_values(arena, &document->channels[1], SIGNAL_FLOW, 8, 0, 4, flow);
    assert_int_equal(document->event_count, 1);
    assert_true(tables_same(document->events[0].at_s, 0.15));
    arena_free(arena);
}

static void assert_event(const struct document_event *event, double at_s, const char *code,
                         const char *note)
{
    assert_true(tables_same(event->at_s, at_s));
    assert_string_equal(event->code, code);
    assert_string_equal(event->note, note);
}

static void events_are_read(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    const struct recording_document *document = tables_read(
        arena, "time_s,balloon [mL],events\n"
               "0,1,cough\n"
               "0.05,,\"balloon [40] | comment: says \"\"full\"\", then | leak [-1.5e1]: x\"\n"
               "0.1,1,\n"
               "0.2,, urgency:  a\\|b\\\\c\\d \n" /* on the grid: a missing sample too */
               "0.3,1,cough|leak\n"
               "1.35,,\"comment: two\nlines\"\n"); /* within 1 s of the end */
    static const double balloon[] = {1, 1, MISSING, 1};
    const struct document_event *events = document->events;
    assert_values(arena, &document->channels[0], SIGNAL_BALLOON, 10, 0, 4, balloon);
    assert_int_equal(document->event_count, 8);
    assert_event(&events[0], 0, "cough", "");
    assert_event(&events[1], 0.05, "balloon", "");
    assert_event(&events[2], 0.05, "comment", "says \"full\", then");
    assert_event(&events[3], 0.05, "leak", "x");
    assert_event(&events[4], 0.2, "urgency", " a|b\\c\\d ");
    assert_event(&events[5], 0.3, "cough", "");
    assert_event(&events[6], 0.3, "leak", "");
    assert_event(&events[7], 1.35, "comment", "two\nlines");
    assert_false(events[0].value.known);
    assert_true(events[1].value.known && tables_same(events[1].value.value, 40));
    assert_true(events[3].value.known && tables_same(events[3].value.value, -15));
    arena_free(arena);
}

struct fault_case {
    const char *what;
    const char *text;
    enum csv_read_outcome outcome;
    const char *pointers; /* all of them, one space between */
    const char *detail;   /* part of the first one's sentence */
};

#define PVES     "time_s,pves [cm[H2O]]\n"
#define ROWS     "0,1\n0.1,2\n"
#define EVENTS   "time_s,pves [cm[H2O]],events\n"
#define OWN_RATE "time_s,pves [cm[H2O]] @ 10 Hz"

static const struct fault_case fault_cases[] = {
    {"nothing", "", CSV_READ_MALFORMED, "", "Line 1: the text is empty."},
    {"a byte order mark alone", "\xEF\xBB\xBF\n", CSV_READ_MALFORMED, "", "the text is empty"},
    {"Latin-1", EVENTS "0,1,comment: \xE4\n", CSV_READ_MALFORMED, "", "not valid UTF-8"},
    {"open quotation mark", EVENTS "0,1,\"comment\n0.1,2,\n", CSV_READ_MALFORMED, "",
     "Line 2: a quotation mark is not closed."},
    {"quotation mark within", EVENTS "0,1,com\"ment\n", CSV_READ_MALFORMED, "",
     "Line 2: a quotation mark stands within a cell"},
    {"text behind a quotation mark", EVENTS "0,1,\"leak\" x\n", CSV_READ_MALFORMED, "",
     "Line 2: something follows a closing quotation mark."},
    {"another table", "name,age\nx,1\n", CSV_READ_INVALID, "/columns/0 /columns/1 /rows/0/time_s",
     "Must be time_s"},
    {"tabs", "time_s\tpves [cm[H2O]]\n0\t1\n", CSV_READ_INVALID, "/columns/0 /columns",
     "Must be time_s; commas separate the cells, or semicolons"},
    {"no signal", "time_s,events\n0,cough\n", CSV_READ_INVALID, "/columns",
     "Must hold at least one column with samples."},
    {"unknown signal", "time_s,pressure [kPa]\n" ROWS, CSV_READ_INVALID, "/columns/1/signal",
     "Must be one of: pves, pabd, pdet, pura, flow,"},
    {"unit of another quantity", "time_s,pves [mL]\n" ROWS, CSV_READ_INVALID, "/columns/1/unit",
     "Must be a UCUM unit that fits pves: cm[H2O], kPa, mm[Hg]."},
    {"no unit", "time_s,pves\n" ROWS, CSV_READ_INVALID, "/columns/1",
     "Must be a signal and its unit"},
    {"unit not closed", "time_s,pves [cm[H2O]\n" ROWS, CSV_READ_INVALID, "/columns/1",
     "Must be a signal and its unit"},
    {"word behind the unit", "time_s,pves [kPa] raw\n" ROWS, CSV_READ_INVALID, "/columns/1",
     "\"@ 10 Hz\""},
    {"rate without unit", "time_s,pves [kPa] @ 10\n" ROWS, CSV_READ_INVALID, "/columns/1",
     "\"@ 10 Hz\""},
    {"rate 0", "time_s,pves [kPa] @ 0 Hz\n" ROWS, CSV_READ_INVALID, "/columns/1/rate_hz",
     "Must be greater than 0."},
    {"rate too high", "time_s,pves [kPa] @ 20001 Hz\n" ROWS, CSV_READ_INVALID, "/columns/1/rate_hz",
     "Must be between 0 and 20000."},
    {"start before the recording", "time_s,pves [kPa] @ 10 Hz from -1 s\n" ROWS, CSV_READ_INVALID,
     "/columns/1/start_s", "Must be between 0 and 172800."},
    {"half a sample", "time_s,pves [kPa] @ 10 Hz for 1.5 samples\n" ROWS, CSV_READ_INVALID,
     "/columns/1/count", "Must be a whole number."},
    {"repeated signal", "time_s,pves [kPa],pves [kPa]\n0,1,1\n0.1,1,1\n", CSV_READ_INVALID,
     "/columns/2/signal", "Column 1 carries pves already"},
    {"events before samples", "time_s,events,pves [kPa]\n0,,1\n", CSV_READ_INVALID, "/columns/1",
     "Must be the last column."},
    {"no row", PVES, CSV_READ_INVALID, "/rows", "Must be at least one."},
    {"one row and no rate", PVES "0,1\n", CSV_READ_INVALID, "/rows", "Must be at least two"},
    {"too few cells", PVES "0,1\n0.1\n0.2,3\n", CSV_READ_INVALID, "/rows/1",
     "Line 3: must hold 2 cells, as the header does; these are 1."},
    {"too many cells", PVES "0,1\n0,1,5\n0.2,3\n", CSV_READ_INVALID, "/rows/1/time_s /rows/1",
     "Line 3: must be later"},
    {"blank line within", PVES "0,1\n\n0.2,3\n", CSV_READ_INVALID, "/rows/1/time_s /rows/1",
     "Line 3: must be a number."},
    {"words for missing samples", PVES "0,NaN\n0.1,inf\n0.2,-\n0.3,0x1\n", CSV_READ_INVALID,
     "/rows/0/pves /rows/1/pves /rows/2/pves /rows/3/pves", "Line 2: must be a number."},
    {"beyond the range", PVES "0,1e10\n0.1,-1e999\n", CSV_READ_INVALID, "/rows/0/pves /rows/1/pves",
     "Line 2: must be between -1000000000 and 1000000000."},
    {"points between semicolons", "time_s;pves [kPa]\n0;1.5\n0,1;2\n", CSV_READ_INVALID,
     "/rows/0/pves", "Line 2: must be a number with a decimal comma, because semicolons"},
    {"time that goes back", PVES "0,1\n0.2,1\n0.1,1\n", CSV_READ_INVALID, "/rows/2/time_s",
     "Line 4: must be later than the row before."},
    {"time that stands still", PVES "0,1\n0.0,1\n0.1,1\n", CSV_READ_INVALID, "/rows/1/time_s",
     "Line 3: must be later than the row before."},
    {"time before the start", PVES "-0.1,1\n0,1\n", CSV_READ_INVALID, "/rows/0/time_s",
     "Line 2: must be between 0 and 172800."},
    {"clock time", PVES "09:31:05,1\n", CSV_READ_INVALID, "/rows/0/time_s",
     "Line 2: must be a number."},
    {"a missing row", PVES "0,1\n0.1,1\n0.2,1\n0.4,1\n0.5,1\n", CSV_READ_INVALID, "/rows/3/time_s",
     "Line 5: does not continue the even steps of the rows before it."},
    {"line of a fault behind a note of two lines",
     EVENTS "0,1,\"comment: a\nb\"\n0.1,1,\n0.2,1,\n0.4,1,\n0.5,1,\n", CSV_READ_INVALID,
     "/rows/3/time_s", "Line 6: does not continue"},
    {"too many rows a second", PVES "0,1\n0.00001,1\n0.00002,1\n", CSV_READ_INVALID, "/rows",
     "Must be at most 20000 a second."},
    {"a value beside its grid", OWN_RATE "\n0,1\n0.1,2\n0.15,3\n0.2,4\n", CSV_READ_INVALID,
     "/rows/2/pves", "Line 4: must be empty; at 10 Hz from 0 s the next sample stands at 0.2 s."},
    {"a sample without row", OWN_RATE "\n0,1\n0.1,2\n0.3,4\n0.5,4\n", CSV_READ_INVALID,
     "/rows/2/pves /rows/3/pves",
     "Line 4: comes too late; at 10 Hz from 0 s a row at 0.2 s is missing."},
    {"a value after the last", OWN_RATE " for 2 samples\n0,1\n0.1,2\n0.2,3\n", CSV_READ_INVALID,
     "/rows/2/pves", "Line 4: must be empty after the last of 2 samples."},
    {"fewer samples than announced", OWN_RATE " for 9 samples\n0,1\n0.1,2\n", CSV_READ_INVALID,
     "/columns/1/count", "Announces 9 samples; the rows hold 2."},
    {"a column that never starts", OWN_RATE " from 5 s\n0,\n0.1,\n", CSV_READ_INVALID, "/columns/1",
     "Must hold at least one sample."},
    {"an event alone", EVENTS "0,,cough\n", CSV_READ_INVALID, "/rows", "Must be at least two"},
    {"event code with a capital", EVENTS "0,1,Cough\n0.1,1,\n", CSV_READ_INVALID, "/rows/0/events",
     "Line 2: an event code must be 1 to 64 lower-case letters"},
    {"two bars", EVENTS "0,1,cough | | leak\n0.1,1,\n", CSV_READ_INVALID, "/rows/0/events",
     "Line 2: an event code must be"},
    {"event value that is no number", EVENTS "0,1,balloon [full]\n0.1,1,\n", CSV_READ_INVALID,
     "/rows/0/events", "Line 2: the value in brackets must be a number between"},
    {"event value not closed", EVENTS "0,1,balloon [40\n0.1,1,\n", CSV_READ_INVALID,
     "/rows/0/events", "Line 2: an event must be a code,"},
    {"note without colon", EVENTS "0,1,comment hello\n0.1,1,\n", CSV_READ_INVALID, "/rows/0/events",
     "Line 2: an event must be a code,"},
    {"note with a bell", EVENTS "0,1,comment: \a\n0.1,1,\n", CSV_READ_INVALID, "/rows/0/events",
     "Line 2: a note must not hold control characters."},
    {"event long after the end", EVENTS "0,1,\n0.1,1,\n1.3,,cough\n", CSV_READ_INVALID,
     "/rows/2/events",
     "Line 4: must stand at most 1 s after the last sample, which ends at 0.2 s."},
};

static void faults_are_named(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof fault_cases / sizeof fault_cases[0]; i++) {
        const struct fault_case *row = &fault_cases[i];
        struct arena *arena = arena_new();
        struct recording_document document = {.channel_count = 77};
        struct fault_list faults;
        struct text pointers;
        fault_list_init(&faults, arena);
        text_init(&pointers, arena, 4000);
        enum csv_read_outcome outcome =
            csv_read(arena, row->text, strlen(row->text), &document, &faults);
        for (size_t j = 0; j < faults.count; j++) {
            text_printf(&pointers, "%s%s", j == 0 ? "" : " ", faults.items[j].pointer);
        }
        if (outcome != row->outcome || faults.count == 0 ||
            strcmp(pointers.data, row->pointers) != 0 ||
            strstr(faults.items[0].detail, row->detail) == NULL) {
            fail_msg("%s: outcome %d, %s: %s", row->what, (int)outcome, pointers.data,
                     faults.count == 0 ? "none" : faults.items[0].detail);
        }
        assert_int_equal(document.channel_count, 77);
        arena_free(arena);
    }
}

static void a_nul_is_malformed(void **state)
{
    (void)state;
    static const char text[] = "time_s,pves [kPa]\n0,1\0\n";
    struct arena *arena = arena_new();
    struct recording_document document;
    struct fault_list faults;
    fault_list_init(&faults, arena);
    assert_int_equal(csv_read(arena, text, sizeof text - 1, &document, &faults),
                     CSV_READ_MALFORMED);
    assert_non_null(strstr(faults.items[0].detail, "NUL"));
    arena_free(arena);
}

static void limits_hold(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct recording_document document;
    struct fault_list faults;
    struct text text;
    text_init(&text, arena, (size_t)1 << 20);
    text_append(&text, EVENTS "0,1,comment: ");
    for (int i = 0; i <= LIMIT_NOTE_BYTES; i++) {
        text_append_char(&text, 'x');
    }
    text_append(&text, "\n0.1,1,");
    for (int i = 0; i < LIMIT_EVENTS; i++) {
        text_append(&text, i == 0 ? "cough" : "|cough");
    }
    fault_list_init(&faults, arena);
    assert_int_equal(csv_read(arena, text.data, text.length, &document, &faults), CSV_READ_INVALID);
    assert_int_equal(faults.count, 2);
    assert_string_equal(faults.items[0].pointer, "/rows/0/events");
    assert_non_null(strstr(faults.items[0].detail, "at most 4000 bytes long; this is 4001"));
    assert_string_equal(faults.items[1].pointer, "/rows/1/events");
    assert_non_null(strstr(faults.items[1].detail, "at most 10000 events"));

    text_init(&text, arena, (size_t)1 << 20);
    text_append(&text, "time_s");
    for (int i = 0; i <= LIMIT_CHANNELS; i++) {
        text_append(&text, ",pves [kPa]");
    }
    fault_list_init(&faults, arena);
    assert_int_equal(csv_read(arena, text.data, text.length, &document, &faults), CSV_READ_INVALID);
    assert_string_equal(faults.items[faults.count - 1].pointer, "/columns/33");
    assert_string_equal(faults.items[faults.count - 1].detail, "At most 32 columns with samples.");
    arena_free(arena);
}

/* More faults than are kept cost neither time nor memory, and are counted. */
static void many_faults_are_counted(void **state)
{
    (void)state;

    enum { ROWS_WRITTEN = 100000 };
    struct arena *arena = arena_new();
    struct recording_document document;
    struct fault_list faults;
    struct text text;
    text_init(&text, arena, (size_t)1 << 24);
    text_append(&text, PVES);
    for (int i = 0; i < ROWS_WRITTEN; i++) {
        text_printf(&text, "%d,x\n", i);
    }
    fault_list_init(&faults, arena);
    assert_int_equal(csv_read(arena, text.data, text.length, &document, &faults), CSV_READ_INVALID);
    assert_int_equal(faults.count, FAULT_LIMIT);
    assert_int_equal(faults.count + faults.dropped, ROWS_WRITTEN);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_grid_is_read),
        cmocka_unit_test(units_are_kept_and_converted),
        cmocka_unit_test(rates_and_starts_of_columns_are_read),
        cmocka_unit_test(merged_rates_are_read),
        cmocka_unit_test(events_are_read),
        cmocka_unit_test(faults_are_named),
        cmocka_unit_test(a_nul_is_malformed),
        cmocka_unit_test(limits_hold),
        cmocka_unit_test(many_faults_are_counted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
