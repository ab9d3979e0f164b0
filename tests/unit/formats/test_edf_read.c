/* EDF files made by hand, with every value worked out by hand, and every way in which a header can
 * be wrong. Shape of the files: Kemp et al. 1992; Kemp and Olivan 2003. */
#include "edf_files.h"

#include "documents.h"
#include "formats/edf_names.h"
#include "formats/limits.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>

#include <cmocka.h>

/* ---- sound files ---- */

static void test_values_of_a_file(void **state)
{
    (void)state;
    static const double pves[] = {0.0, 0.1, -100.0, 100.0, 12.3, -4.5, 0.7, 0.8};
    static const double flow[] = {0.0, 50.0, 25.0, 0.1};
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    assert_int_equal(document->type, RECORDING_PRESSURE_FLOW);
    assert_true(document->started_at_us == INT64_C(1772440265) * 1000000); /* 08:31:05 UTC */
    assert_int_equal(document->channel_count, 2);
    const struct document_channel *channel = &document->channels[0];
    assert_int_equal(channel->signal, SIGNAL_PVES);
    assert_string_equal(channel->unit, "cm[H2O]");
    documents_assert_close(channel->rate_hz, 4.0, 0.0);
    documents_assert_close(channel->start_s, 0.0, 0.0);
    assert_int_equal(channel->samples.encoding, SAMPLES_INT16);
    documents_assert_close(channel->samples.scale, 0.1, 0.0);
    documents_assert_close(channel->samples.offset, 0.0, 0.0);
    assert_int_equal(channel->samples.count, 8);
    assert_int_equal(channel->samples.missing, 0);
    const double *values = samples_all_values(&channel->samples, arena);
    for (size_t i = 0; i < 8; i++) {
        documents_assert_close(values[i], pves[i], 1e-14);
    }
    channel = &document->channels[1];
    assert_int_equal(channel->signal, SIGNAL_FLOW);
    assert_string_equal(channel->unit, "mL/s");
    documents_assert_close(channel->to_canonical, 1.0, 0.0);
    documents_assert_close(channel->rate_hz, 2.0, 0.0);
    values = samples_all_values(&channel->samples, arena);
    for (size_t i = 0; i < 4; i++) {
        documents_assert_close(values[i], flow[i], 1e-14);
    }
    arena_free(arena);
}

static void test_events_of_a_file(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    const struct recording_document *document = edf_files_read_sound(arena, &file, &options, NULL);
    assert_int_equal(document->event_count, 3);
    documents_assert_close(document->events[0].at_s, 0.5, 0.0);
    assert_string_equal(document->events[0].code, "first_desire");
    assert_string_equal(document->events[0].note, "");
    documents_assert_close(document->events[1].at_s, 0.5, 0.0);
    assert_string_equal(document->events[1].code, "cough");
    assert_string_equal(document->events[1].note, "strong");
    documents_assert_close(document->events[2].at_s, 1.25, 0.0);
    assert_string_equal(document->events[2].code, "comment");
    assert_string_equal(document->events[2].note, "said hello (lasted 2.5 s)");
    arena_free(arena);
}

static void test_events_in_any_order(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    struct edf_bytes at = {.arena = arena, .bytes = file.bytes, .length = 1024 + 12};
    edf_files_annotations(&at, "+0||~+1.5|pain|~+0.5|a\r\nb\rc\td|~+0|leak|~", 30);
    const struct recording_document *document = edf_files_read_sound(arena, &file, &options, NULL);
    assert_int_equal(document->event_count, 4);
    assert_string_equal(document->events[0].code, "leak");
    assert_string_equal(document->events[1].note, "a\nb\nc\td"); /* line ends as notes have them */
    assert_string_equal(document->events[2].note, "said hello (lasted 2.5 s)");
    assert_string_equal(document->events[3].code, "pain");
    arena_free(arena);
}

static void test_report(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    (void)edf_files_read_sound(arena, &file, &options, &report);
    assert_int_equal(report->kind, EDF_KIND_CONTINUOUS);
    assert_string_equal(report->start_local, "2026-03-02T09:31:05");
    assert_false(report->has_patient);
    assert_int_equal(report->record_count, 2);
    documents_assert_close(report->record_duration_s, 1.0, 0.0);
    assert_int_equal(report->event_count, 3);
    assert_int_equal(report->signal_count, 3);
    const struct edf_report_signal *row = &report->signals[1];
    assert_string_equal(row->label, "Flow Qura");
    assert_true(row->is_wanted && !row->is_annotations);
    assert_int_equal(row->signal, SIGNAL_FLOW);
    assert_string_equal(row->dimension, "ml/s");
    assert_string_equal(row->unit, "mL/s");
    documents_assert_close(row->rate_hz, 2.0, 0.0);
    documents_assert_close(row->scale, 0.1, 0.0);
    assert_int_equal(row->sample_count, 4);
    assert_int_equal(row->out_of_range, 0);
    assert_true(report->signals[2].is_annotations && !report->signals[2].is_wanted);
    edf_files_replace(&file, 8, 80, "MRN-1 F 02-MAY-1951 Somebody");
    (void)edf_files_read_sound(arena, &file, &options, &report);
    assert_true(report->has_patient);
    arena_free(arena);
}

/* scale = (pmax - pmin) / (dmax - dmin); offset = pmin - scale * dmin. */
static void test_scales_are_nearest_to_the_decimals(void **state)
{
    (void)state;

    static const struct {
        const char *pmin;
        const char *pmax;
        const char *dmin;
        const char *dmax;
        double scale;
        double offset;
    } cases[] = {
        {"-3276.7", "3276.7", "-32767", "32767", 0.1, 0.0},
        {"-3276.8", "3276.7", "-32768", "32767", 0.1, 0.0},
        {"-327.67", "327.67", "-32767", "32767", 0.01, 0.0},
        {"100", "-100", "-1000", "1000", -0.1, 0.0},
        {"-500", "500", "-2048", "2047", 1000.0 / 4095.0, 500.0 / 4095.0},
        {"-20", "380", "0", "4000", 0.1, -20.0},
        {".5", "1.5", "0", "10", 0.1, 0.5},
        {"+0.5", "1.5", "0", "10", 0.1, 0.5},
        {"0", "1e3", "0", "1000", 1.0, 0.0},
        {"0", "1E-3", "0", "1000", 1e-6, 0.0},
        {"0", "1", "32766", "32767", 1.0, -32766.0},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct edf_bytes file = edf_files_sound(arena);
        struct edf_options options = edf_files_options();
        edf_files_replace(&file, 568, 8, cases[i].pmin);
        edf_files_replace(&file, 592, 8, cases[i].pmax);
        edf_files_replace(&file, 616, 8, cases[i].dmin);
        edf_files_replace(&file, 640, 8, cases[i].dmax);
        const struct recording_document *document =
            edf_files_read_sound(arena, &file, &options, NULL);
        documents_assert_close(document->channels[0].samples.scale, cases[i].scale, 0.0);
        documents_assert_close(document->channels[0].samples.offset, cases[i].offset, 0.0);
        arena_free(arena);
    }
}

static void test_codes_out_of_range_are_missing(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    edf_files_replace(&file, 616, 8, "-999"); /* -1000 occurs */
    edf_files_replace(&file, 640, 8, "100");  /* 1000 and 123 occur */
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    const int16_t *codes = document->channels[0].samples.codes;
    assert_int_equal(document->channels[0].samples.missing, 3);
    assert_int_equal(report->signals[0].out_of_range, 3);
    assert_int_equal(codes[2], INT16_MIN);
    assert_int_equal(codes[3], INT16_MIN);
    assert_int_equal(codes[4], INT16_MIN);
    assert_int_equal(codes[5], -45);
    arena_free(arena);
}

/* -32768 is missing in int16; where it is a value, 32 bits are taken. */
static void test_the_least_code_as_a_value(void **state)
{
    (void)state;
    static const int least = INT16_MIN;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    edf_files_replace(&file, 616, 8, "-32768");
    const struct recording_document *document = edf_files_read_sound(arena, &file, &options, NULL);
    assert_int_equal(document->channels[0].samples.encoding, SAMPLES_INT16);
    struct edf_bytes tail = {.arena = arena, .bytes = file.bytes, .length = 1024 + 2};
    edf_files_samples(&tail, &least, 1);
    document = edf_files_read_sound(arena, &file, &options, NULL);
    const struct samples *samples = &document->channels[0].samples;
    assert_int_equal(samples->encoding, SAMPLES_INT32);
    assert_int_equal(samples->missing, 0);
    assert_int_equal(((const int32_t *)samples->codes)[1], INT16_MIN);
    assert_int_equal(((const int32_t *)samples->codes)[2], -1000);
    edf_files_replace(&file, 616, 8, "-32767");
    document = edf_files_read_sound(arena, &file, &options, NULL);
    assert_int_equal(document->channels[0].samples.encoding, SAMPLES_INT16);
    assert_int_equal(document->channels[0].samples.missing, 1);
    arena_free(arena);
}

static void test_plain_edf(void **state)
{
    (void)state;
    static const struct edf_file_signal signals[] = {
        {"EMG", "uV", "-1000", "1000", "-2048", "2047", 3}};
    static const struct edf_file_parts parts = {.patient = "somebody",
                                                .startdate = "31.12.99",
                                                .starttime = "23.59.59",
                                                .records = "2",
                                                .duration = "0.7",
                                                .signal_count = 1,
                                                .signals = signals};
    static const int codes[] = {1, 2, 3, 4, 5, 6};
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_header(arena, &parts);
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    edf_files_samples(&file, codes, 6);
    options.utc_offset_min = -90;
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    assert_int_equal(report->kind, EDF_KIND_PLAIN);
    assert_true(report->has_patient);
    assert_true(document->started_at_us == INT64_C(946690199) * 1000000); /* 2000-01-01T01:29:59Z */
    documents_assert_close(document->channels[0].rate_hz, 30.0 / 7.0, 0.0);
    assert_int_equal(document->channels[0].samples.count, 6);
    assert_int_equal(document->event_count, 0);
    arena_free(arena);
}

/* The fraction of the start's second stands in the first record's time. */
static void test_fraction_of_the_start(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    struct edf_bytes at = {.arena = arena, .bytes = file.bytes, .length = 1024 + 12};
    edf_files_annotations(&at, "+0.123456||~+0.623456|cough [2.5]: x: y|~", 30);
    at.length = 1024 + 72 + 12;
    edf_files_annotations(&at, "+1.123456||~", 30);
    const struct recording_document *document = edf_files_read_sound(arena, &file, &options, NULL);
    assert_true(document->started_at_us == INT64_C(1772440265) * 1000000 + 123456);
    assert_int_equal(document->event_count, 1);
    documents_assert_close(document->events[0].at_s, 0.5, 0.0);
    assert_string_equal(document->events[0].code, "cough");
    assert_string_equal(document->events[0].note, "x: y");
    assert_true(document->events[0].value.known);
    documents_assert_close(document->events[0].value.value, 2.5, 0.0);
    arena_free(arena);
}

static void test_start_from_the_caller(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = {
        .type = RECORDING_CYSTOMETRY, .has_start = true, .started_at_us = 1772440265000000};
    const struct edf_report *report = NULL;
    edf_files_replace(&file, 168, 8, "00.00.00");
    edf_files_replace(&file, 88, 80, "");
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    assert_true(document->started_at_us == 1772440265000000);
    assert_string_equal(report->start_local, "");
    arena_free(arena);
}

static void test_dates(void **state)
{
    (void)state;

    static const struct {
        const char *startdate;
        const char *recording;
        const char *start_local;
    } cases[] = {
        {"01.01.90", "", "1990-01-01T09:31:05"},
        {"29.02.00", "Startdate X X X X", "2000-02-29T09:31:05"},
        {"31.12.84", "Startdate 31-DEC-2084 X X X", "2084-12-31T09:31:05"},
        {"01.01.yy", "Startdate 01-jan-2090 X X X", "2090-01-01T09:31:05"},
        {"01.05.26", "other words", "2026-05-01T09:31:05"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct edf_bytes file = edf_files_sound(arena);
        struct edf_options options = edf_files_options();
        const struct edf_report *report = NULL;
        edf_files_replace(&file, 168, 8, cases[i].startdate);
        edf_files_replace(&file, 88, 80, cases[i].recording);
        (void)edf_files_read_sound(arena, &file, &options, &report);
        assert_string_equal(report->start_local, cases[i].start_local);
        arena_free(arena);
    }
}

/* ---- labels ---- */

static void test_labels_by_themselves(void **state)
{
    (void)state;

    static const struct {
        const char *label;
        enum signal_kind signal;
    } cases[] = {
        {"pves", SIGNAL_PVES},
        {"P ves", SIGNAL_PVES},
        {"P_VES", SIGNAL_PVES},
        {"Press Pves", SIGNAL_PVES},
        {"Pressure P-ves", SIGNAL_PVES},
        {"Pdet", SIGNAL_PDET},
        {"Flow", SIGNAL_FLOW},
        {"Flow Qura", SIGNAL_FLOW},
        {"Q ura", SIGNAL_FLOW},
        {"EMG", SIGNAL_EMG},
        {"EMG emg", SIGNAL_EMG},
        {"Vura", SIGNAL_VVOID},
        {"Vol Vinf", SIGNAL_VINF},
        {"panal12", SIGNAL_PANAL12},
        {"Press P anal 3", SIGNAL_PANAL3},
        {"Balloon", SIGNAL_BALLOON},
        {"P.vag", SIGNAL_PVAG},
        {"Dist puller", SIGNAL_PULLER},
        {"EMG left", SIGNAL_NONE},
        {"Press", SIGNAL_NONE},
        {"", SIGNAL_NONE},
        {"P1", SIGNAL_NONE},
        {"pves2", SIGNAL_NONE},
        {"panal13", SIGNAL_NONE},
        {"Press ", SIGNAL_NONE},
        {"Pclo", SIGNAL_NONE},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        if (edf_names_signal(cases[i].label) != cases[i].signal) {
            fail_msg("\"%s\" is taken for signal %d", cases[i].label,
                     (int)edf_names_signal(cases[i].label));
        }
    }
    for (int signal = 0; signal < SIGNAL_COUNT; signal++) {
        assert_true(strlen(edf_names_label((enum signal_kind)signal)) <= 16);
        assert_int_equal(edf_names_signal(edf_names_label((enum signal_kind)signal)), signal);
        assert_non_null(edf_names_dimension(signal_unit((enum signal_kind)signal)));
    }
}

static void test_units(void **state)
{
    (void)state;

    static const struct {
        const char *dimension;
        const char *unit;
    } cases[] = {
        {"cmH2O", "cm[H2O]"},
        {"cm H2O", "cm[H2O]"},
        {"cm[H2O]", "cm[H2O]"},
        {"mmHg", "mm[Hg]"},
        {"mm Hg", "mm[Hg]"},
        {"kPa", "kPa"},
        {"uV", "uV"},
        {"mV", "mV"},
        {"ml", "mL"},
        {"mL", "mL"},
        {"l", "L"},
        {"ml/s", "mL/s"},
        {"mL/s", "mL/s"},
        {"ml/sec", "mL/s"},
        {"ml/min", "mL/min"},
        {"L/min", "L/min"},
        {"mm", "mm"},
        {"cm", "cm"},
        {"s", "s"},
        {"min", "min"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        assert_non_null(edf_names_unit(cases[i].dimension));
        assert_string_equal(edf_names_unit(cases[i].dimension), cases[i].unit);
        assert_non_null(edf_names_dimension(cases[i].unit));
        assert_string_equal(edf_names_unit(edf_names_dimension(cases[i].unit)), cases[i].unit);
    }
    assert_null(edf_names_unit("V"));
    assert_null(edf_names_unit(""));
    assert_null(edf_names_unit("mmHgmmHgmmHgmmHgmmHgmmHgmmHgmmHgmmHg"));
}

static void test_labels_from_the_caller(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    const struct edf_label labels[] = {{"Channel 1", SIGNAL_PABD}, {" flow qura ", SIGNAL_NONE}};
    edf_files_replace(&file, 256, 16, "CHANNEL 1");
    edf_files_replace(&file, 552, 8, "furlong"); /* of what is not wanted, nothing matters */
    options.labels = labels;
    options.label_count = 2;
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    assert_int_equal(document->channel_count, 1);
    assert_int_equal(document->channels[0].signal, SIGNAL_PABD);
    assert_true(report->signals[0].is_wanted);
    assert_false(report->signals[1].is_wanted);
    assert_null(report->signals[1].unit);
    arena_free(arena);
}

static void test_faults_of_labels(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    const struct edf_label unwanted[] = {{"Press pves", SIGNAL_NONE}, {"Flow Qura", SIGNAL_NONE}};
    const struct edf_label same[] = {{"Flow Qura", SIGNAL_PVES}};
    const struct edf_label stranger[] = {{"Flow Qurb", SIGNAL_FLOW}};
    const struct edf_label twice[] = {{"Flow Qura", SIGNAL_FLOW}, {"FLOW QURA", SIGNAL_NONE}};
    options.labels = unwanted;
    options.label_count = 2;
    edf_files_check_fault("all unwanted", &file, &options, "/signals", "unwanted", true);
    options.labels = same;
    options.label_count = 1;
    edf_files_check_fault("two to one", &file, &options, "/signals/1/label",
                          "signal 0 (\"Press pves\") carries pves already", true);
    options.labels = stranger;
    edf_files_check_fault("no such label", &file, &options, "/labels/0", "\"Flow Qurb\"", true);
    options.labels = twice;
    options.label_count = 2;
    edf_files_check_fault("label twice", &file, &options, "/labels/1", "twice", true);
    options.label_count = 0;
    edf_files_replace(&file, 272, 16, "Temp");
    edf_files_check_fault("not mapped", &file, &options, "/signals/1/label",
                          "Bytes 272 to 287 say \"Temp\": no signal is known", true);
    arena_free(arena);
}

/* ---- faults of a header ---- */

struct header_case {
    const char *what;
    size_t offset;
    size_t width;
    const char *text;
    const char *pointer;
    const char *detail;
};

/* Offsets for three signals, counted by hand from the table of fields in the specification. */
static const struct header_case header_cases[] = {
    {"startdate with dashes", 168, 8, "02-03-26", "/startdate",
     "Bytes 168 to 175 say \"02-03-26\""},
    {"30 February", 168, 8, "30.02.26", "/startdate", "dd.mm.yy"},
    {"another day than Startdate", 168, 8, "03.03.26", "/startdate", "same day"},
    {"Startdate broken", 88, 80, "Startdate 02-XXX-2026 X X X", "/recording", "Bytes 88 to 167:"},
    {"Startdate 31 June", 88, 80, "Startdate 31-JUN-2026 X X X", "/recording", "no day"},
    {"starttime", 176, 8, "09.60.05", "/starttime", "Bytes 176 to 183 say \"09.60.05\""},
    {"starttime with colons", 176, 8, "09:31:05", "/starttime", "hh.mm.ss"},
    {"header bytes", 184, 8, "768", "/header_bytes", "3 signals has 1024 bytes"},
    {"reserved EDF+X", 192, 44, "EDF+X", "/reserved", "EDF+C"},
    {"annotations in plain EDF", 192, 44, "", "/reserved", "must say EDF+C or EDF+D"},
    {"records -1", 236, 8, "-1", "/record_count", "not closed"},
    {"records 0", 236, 8, "0", "/record_count", "between 1 and"},
    {"records no number", 236, 8, "two", "/record_count", "Bytes 236 to 243 say \"two\""},
    {"records 2.5", 236, 8, "2.5", "/record_count", "whole number"},
    {"a record too few", 236, 8, "3", "/record_count", "72 bytes are missing"},
    {"a record too many", 236, 8, "1", "/record_count", "72 bytes follow"},
    {"duration 0", 244, 8, "0", "/record_duration", "greater than 0"},
    {"duration negative", 244, 8, "-1", "/record_duration", "greater than 0"},
    {"duration 1,5", 244, 8, "1,5", "/record_duration", "plain number"},
    {"duration 1e1", 244, 8, "1e1", "/record_duration", "plain number"},
    {"duration beyond the limit", 244, 8, "172801", "/record_duration", "at most 172800"},
    {"signals 0", 252, 4, "0", "/signal_count", "between 1 and 512"},
    {"signals abc", 252, 4, "abc", "/signal_count", "Bytes 252 to 255"},
    {"signals 4", 252, 4, "4", "/header_bytes", "4 signals has 1280 bytes"},
    {"label not ASCII", 256, 16, "Pv\xe9s", "/signals/0/label", "printable ASCII"},
    {"dimension unknown", 544, 8, "furlong", "/signals/0/physical_dimension",
     "Bytes 544 to 551 say \"furlong\": must be a unit that fits pves: cmH2O, kPa, mmHg."},
    {"dimension empty", 544, 8, "", "/signals/0/physical_dimension", "fits pves"},
    {"dimension of another quantity", 552, 8, "mmHg", "/signals/1/physical_dimension",
     "fits flow: mL/s"},
    {"pmin no number", 568, 8, "low", "/signals/0/physical_minimum", "Bytes 568 to 575"},
    {"pmin empty", 576, 8, "", "/signals/1/physical_minimum", "Bytes 576 to 583"},
    {"pmax beyond", 592, 8, "1e10", "/signals/0/physical_maximum", "between -1000000000"},
    {"pmin = pmax", 592, 8, "-100.0", "/signals/0/physical_maximum", "must differ"},
    {"pmax hardly more than pmin", 592, 8, "-100.", "/signals/0/physical_maximum", "must differ"},
    {"dmin 1.5", 616, 8, "1.5", "/signals/0/digital_minimum", "whole number"},
    {"dmin beyond", 616, 8, "-32769", "/signals/0/digital_minimum", "-32768"},
    {"dmax beyond", 640, 8, "32768", "/signals/0/digital_maximum", "32767"},
    {"dmin = dmax", 640, 8, "-1000", "/signals/0/digital_maximum", "which is -1000"},
    {"dmin > dmax", 648, 8, "-1", "/signals/1/digital_maximum", "which is 0"},
    {"samples 0", 904, 8, "0", "/signals/0/samples_per_record", "Bytes 904 to 911 say \"0\""},
    {"samples -4", 904, 8, "-4", "/signals/0/samples_per_record", "between 1 and"},
    {"samples 99999999", 904, 8, "99999999", "/signals/0/samples_per_record",
     "99999999 samples a second"},
    {"samples too many for the file", 904, 8, "5", "/record_count", "4 bytes are missing"},
};

static void test_faults_of_a_header(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof header_cases / sizeof header_cases[0]; i++) {
        const struct header_case *row = &header_cases[i];
        struct arena *arena = arena_new();
        struct edf_bytes file = edf_files_sound(arena);
        struct edf_options options = edf_files_options();
        edf_files_replace(&file, row->offset, row->width, row->text);
        edf_files_check_fault(row->what, &file, &options, row->pointer, row->detail, false);
        arena_free(arena);
    }
}

/* A name in the header is never repeated. */
static void test_faults_keep_quiet_about_people(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    struct fault_list faults;
    const struct recording_document *document = NULL;
    const struct edf_report *report = NULL;
    fault_list_init(&faults, arena);
    edf_files_replace(&file, 8, 80, "SECRETNAME");
    edf_files_replace(&file, 88, 80, "Startdate 02.03.2026 SECRETNAME");
    assert_int_equal(
        edf_read(arena, file.bytes, file.length, &options, &document, &report, &faults),
        EDF_READ_INVALID);
    assert_int_equal(faults.count, 1);
    assert_string_equal(faults.items[0].pointer, "/recording");
    assert_null(strstr(faults.items[0].detail, "SECRET"));
    arena_free(arena);
}

static void test_all_faults_are_told(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    edf_files_replace(&file, 168, 8, "never");
    edf_files_replace(&file, 256, 16, "Temp");
    edf_files_replace(&file, 552, 8, "furlong");
    edf_files_replace(&file, 576, 8, "low");
    edf_files_replace(&file, 648, 8, "-1");
    struct edf_bytes tail = {.arena = arena, .bytes = file.bytes, .length = 1024 + 72 + 12};
    edf_files_annotations(&tail, "1||~", 30);
    static const char *const pointers[] = {
        "/startdate",
        "/signals/0/label",
        "/signals/1/physical_dimension",
        "/signals/1/physical_minimum",
        "/signals/1/digital_maximum",
        "/records/1",
    };
    for (size_t i = 0; i < sizeof pointers / sizeof pointers[0]; i++) {
        edf_files_check_fault("many", &file, &options, pointers[i], "", false);
    }
    arena_free(arena);
}

static void test_local_time_alone_is_refused(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = {.type = RECORDING_CYSTOMETRY};
    edf_files_check_fault("no offset", &file, &options, "/starttime", "add its offset from UTC",
                          true);
    options.has_utc_offset = true;
    options.utc_offset_min = 900;
    edf_files_check_fault("offset", &file, &options, "/utc_offset", "between -840 and 840", true);
    options.utc_offset_min = 0;
    edf_files_replace(&file, 168, 8, "01.01.85");
    edf_files_replace(&file, 88, 80, "");
    edf_files_check_fault("1985", &file, &options, "/startdate", "1990 to 2100", true);
    arena_free(arena);
}

static void test_other_files_are_told_apart(void **state)
{
    (void)state;

    static const struct {
        const char *start;
        size_t length;
        const char *pointer;
        const char *detail;
    } cases[] = {
        {"\xff"
         "BIOSEMI",
         8, "", "BDF"},
        {"\x1f\x8b\x08", 3, "", "gzip"},
        {"\x28\xb5\x2f\xfd", 4, "", "zstd"},
        {"PK\x03\x04", 4, "", "zip"},
        {"{\"type\"", 7, "", "JSON"},
        {"1       ", 8, "/version", "begins with 0"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct edf_bytes file = edf_files_sound(arena);
        struct edf_options options = edf_files_options();
        memcpy(file.bytes, cases[i].start, cases[i].length);
        edf_files_check_fault("stranger", &file, &options, cases[i].pointer, cases[i].detail, true);
        arena_free(arena);
    }
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    edf_files_replace(&file, 192, 44, "BDF+C");
    edf_files_check_fault("BDF+", &file, &options, "/reserved", "24-bit", true);
    arena_free(arena);
}

/* Whatever the length at which a file is cut, the fault says so, and nothing is read beyond it. */
static void test_cut_files(void **state)
{
    (void)state;
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    for (size_t length = 0; length < file.length; length++) {
        struct arena *part_arena = arena_new();
        struct edf_bytes part = {
            .arena = part_arena, .bytes = arena_alloc(part_arena, length + 1), .length = length};
        memcpy(part.bytes, file.bytes, length);
        char detail[32] = "not EDF";
        if (length >= 1024) {
            (void)snprintf(detail, sizeof detail, "%zu bytes are missing", file.length - length);
        } else if (length >= 256) {
            (void)snprintf(detail, sizeof detail, "ends after %zu bytes", length);
        }
        edf_files_check_fault("cut", &part, &options,
                              length >= 1024  ? "/record_count"
                              : length >= 256 ? "/header_bytes"
                                              : "",
                              detail, true);
        arena_free(part_arena);
    }
    arena_free(arena);
}

/* ---- annotations and gaps ---- */

static void check_annotations(const char *first, const char *second, const char *pointer,
                              const char *detail)
{
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_sound(arena);
    struct edf_options options = edf_files_options();
    struct edf_bytes at = {.arena = arena, .bytes = file.bytes, .length = 1024 + 12};
    edf_files_annotations(&at, first, 30);
    at.length = 1024 + 72 + 12;
    edf_files_annotations(&at, second, 30);
    edf_files_check_fault(first, &file, &options, pointer, detail, true);
    arena_free(arena);
}

static void test_faults_of_annotations(void **state)
{
    (void)state;
    check_annotations("+0||~", "", "/records/1", "empty text");
    check_annotations("+0|cough|~", "+1||~", "/records/0", "empty text");
    check_annotations("0||~", "+1||~", "/records/0", "onset must be");
    check_annotations("+0||~+x|cough|~", "+1||~", "/records/0", "onset must be");
    check_annotations("+0||~+0^-2|cough|~", "+1||~", "/records/0", "duration must be");
    check_annotations("+0||~+0|cough~", "+1||~", "/records/0", "must end with");
    check_annotations("+0||~+0.5|co\x01ugh|~", "+1||~", "/records/0", "control characters");
    check_annotations("+0||~+0.5|co\xC2\x85ugh|~", "+1||~", "/records/0", "control characters");
    check_annotations("+0||~+0.5|co\xffugh|~", "+1||~", "/records/0", "UTF-8");
    check_annotations("+0||~+3.5|cough|~", "+1||~", "/annotations/0", "between 0 and 3");
    check_annotations("+0.5||~+0.2|cough|~", "+1.5||~", "/annotations/0", "-0.3 s after");
    check_annotations("-1||~", "+0||~", "/records/0", "must not begin before");
    check_annotations("+0||~", "+1.3||~", "/records/1", "a file with gaps is EDF+D");
    check_annotations("+0||~+1e9|cough|~", "+1||~", "/records/0", "onset must be");
}

static void test_annotations_only(void **state)
{
    (void)state;
    static const struct edf_file_signal signals[] = {
        {"EDF Annotations", "", "-1", "1", "-32768", "32767", 30}};
    static const struct edf_file_parts parts = {
        .reserved = "EDF+C", .records = "1", .signal_count = 1, .signals = signals};
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_header(arena, &parts);
    struct edf_options options = edf_files_options();
    edf_files_annotations(&file, "+0||~", 30);
    edf_files_check_fault("annotations only", &file, &options, "/signals", "annotations only",
                          true);
    arena_free(arena);
}

/* EDF+D of `count` records of 1 s that begin at the given onsets: pves 4 Hz, flow 2 Hz. */
static struct edf_bytes discontinuous(struct arena *arena, const char *const *onsets, int count)
{
    struct edf_bytes file = edf_files_sound(arena);
    edf_files_replace(&file, 192, 44, "EDF+D");
    edf_files_replace(&file, 236, 8, arena_printf(arena, "%d", count));
    file.length = 1024;
    for (int i = 0; i < count; i++) {
        int codes[] = {10 * i, 10 * i + 1, 10 * i + 2, 10 * i + 3, i, i};
        edf_files_samples(&file, codes, 6);
        edf_files_annotations(&file, arena_printf(arena, "%s||~", onsets[i]), 30);
    }
    return file;
}

static void test_gaps_are_missing_samples(void **state)
{
    (void)state;
    static const char *const onsets[] = {"+0.25", "+1.25", "+3.751", "+4.75"};
    struct arena *arena = arena_new();
    struct edf_bytes file = discontinuous(arena, onsets, 4);
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    const struct samples *pves = &document->channels[0].samples;
    const int16_t *codes = pves->codes;
    assert_int_equal(pves->count, 22); /* 5.5 s */
    assert_int_equal(pves->missing, 6);
    assert_int_equal(report->signals[0].in_gaps, 6);
    assert_int_equal(report->signals[1].in_gaps, 3);
    assert_int_equal(codes[7], 13);
    for (size_t i = 8; i < 14; i++) {
        assert_int_equal(codes[i], INT16_MIN);
    }
    assert_int_equal(codes[14], 20);
    assert_int_equal(codes[21], 33);
    assert_true(document->started_at_us == INT64_C(1772440265) * 1000000 + 250000);
    arena_free(arena);
}

static void test_faults_of_gaps(void **state)
{
    (void)state;

    static const struct {
        const char *onsets[3];
        const char *pointer;
        const char *detail;
    } cases[] = {
        {{"+0", "+1", "+2.25"}, "/records/2", "samples off the grid of signal 1"},
        {{"+0", "+1.1", "+3"}, "/records/1", "0.4 samples off the grid of signal 0"},
        {{"+0", "+0.5", "+2"}, "/records/1", "before the one before it ends"},
        {{"+5", "+1", "+2"}, "/records/1", "before the one before it ends"},
        {{"+0", "+1", "+1"}, "/records/2", "before the one before it ends"},
        {{"+0", "+1", "+172800"}, "/records/2", "more than 172800 s after"},
        {{"+0", "+1", "+999999999"}, "/records/2", "more than 172800 s after"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        struct edf_bytes file = discontinuous(arena, cases[i].onsets, 3);
        struct edf_options options = edf_files_options();
        edf_files_check_fault(cases[i].detail, &file, &options, cases[i].pointer, cases[i].detail,
                              true);
        arena_free(arena);
    }
}

/* A tenth of a sample in EDF+D, half a sample in EDF+C; the fastest signal has 4 Hz. */
static void test_tolerance_of_onsets(void **state)
{
    (void)state;

    static const struct {
        const char *kind;
        const char *onset;
        bool is_sound;
    } cases[] = {
        {"EDF+D", "+1.0245", true},  {"EDF+D", "+1.0255", false}, {"EDF+D", "+0.9755", true},
        {"EDF+D", "+0.9745", false}, {"EDF+C", "+1.1245", true},  {"EDF+C", "+1.1255", false},
        {"EDF+C", "+0.8755", true},  {"EDF+C", "+0.8745", false},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct arena *arena = arena_new();
        const char *onsets[] = {"+0", cases[i].onset};
        struct edf_bytes file = discontinuous(arena, onsets, 2);
        struct edf_options options = edf_files_options();
        edf_files_replace(&file, 192, 44, cases[i].kind);
        if (cases[i].is_sound) {
            const struct recording_document *document =
                edf_files_read_sound(arena, &file, &options, NULL);
            assert_int_equal(document->channels[0].samples.count, 8);
            assert_int_equal(document->channels[0].samples.missing, 0);
        } else {
            edf_files_check_fault(cases[i].onset, &file, &options, "/records/1", "begins", true);
        }
        arena_free(arena);
    }
}

/* ---- bounded memory ---- */

static long peak_kib(void)
{
    struct rusage usage;
    assert_int_equal(getrusage(RUSAGE_SELF, &usage), 0);
    return usage.ru_maxrss;
}

/* A gap of two days at 1 kHz would be 172.8 million samples; a header may promise as many. */
static void test_memory_is_bounded(void **state)
{
    (void)state;
    static const struct edf_file_signal signals[] = {
        {"EMG", "uV", "-1000", "1000", "-2048", "2047", 1000},
        {"EDF Annotations", "", "-1", "1", "-32768", "32767", 30}};
    static const struct edf_file_parts parts = {
        .reserved = "EDF+D", .records = "2", .signal_count = 2, .signals = signals};
    static const int codes[1000] = {0};
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_header(arena, &parts);
    struct edf_options options = edf_files_options();
    edf_files_samples(&file, codes, 1000);
    edf_files_annotations(&file, "+0||~", 30);
    edf_files_samples(&file, codes, 1000);
    edf_files_annotations(&file, "+172000||~", 30);
    long before_kib = peak_kib();
    edf_files_check_fault("gap", &file, &options, "/signals/0/samples_per_record",
                          "at most 16777216 samples in a channel, gaps included; these are "
                          "172001000.",
                          true);
    edf_files_replace(&file, 236, 8, "99999999");
    edf_files_check_fault("records", &file, &options, "/record_count", "last more than", true);
    edf_files_replace(&file, 244, 8, "0.0001");
    edf_files_check_fault("records", &file, &options, "/record_count", "bytes are missing", false);
    edf_files_replace(&file, 688, 8, "99999999"); /* samples a record of the first signal */
    edf_files_check_fault("samples", &file, &options, "/record_count", "bytes are missing", false);
    assert_true(peak_kib() - before_kib < 16L * 1024);
    arena_free(arena);
}

/* Each channel within its limit, all of them together not. */
static void test_samples_of_all_channels_are_bounded(void **state)
{
    (void)state;
    static const struct edf_file_signal signals[] = {
        {"EMG", "uV", "-1000", "1000", "-2048", "2047", 100},
        {"pves", "kPa", "-1000", "1000", "-2048", "2047", 100},
        {"pabd", "kPa", "-1000", "1000", "-2048", "2047", 100},
        {"EDF Annotations", "", "-1", "1", "-32768", "32767", 30}};
    static const struct edf_file_parts parts = {
        .reserved = "EDF+D", .records = "2", .signal_count = 4, .signals = signals};
    static const int codes[300] = {0};
    struct arena *arena = arena_new();
    struct edf_bytes file = edf_files_header(arena, &parts);
    struct edf_options options = edf_files_options();
    edf_files_samples(&file, codes, 300);
    edf_files_annotations(&file, "+0||~", 30);
    edf_files_samples(&file, codes, 300);
    edf_files_annotations(&file, "+160000||~", 30);
    long before_kib = peak_kib();
    edf_files_check_fault("gap", &file, &options, "/signals",
                          "At most 33554432 samples in all channels of a recording, gaps included; "
                          "these are 48000300.",
                          true);
    assert_true(peak_kib() - before_kib < 16L * 1024);
    arena_free(arena);
}

static void test_too_many_annotations(void **state)
{
    (void)state;
    static const struct edf_file_signal signals[] = {
        {"EMG", "uV", "-1000", "1000", "-2048", "2047", 1},
        {"EDF Annotations", "", "-1", "1", "-32768", "32767", 35010}};
    static const struct edf_file_parts parts = {
        .reserved = "EDF+C", .records = "1", .signal_count = 2, .signals = signals};
    static const int code = 1;
    static char lists[70021];
    for (int count = LIMIT_EVENTS; count <= LIMIT_EVENTS + 1; count++) {
        struct arena *arena = arena_new();
        struct edf_bytes file = edf_files_header(arena, &parts);
        struct edf_options options = edf_files_options();
        char *end = stpcpy(lists, "+0||~");
        for (int i = 0; i < count; i++) {
            end = stpcpy(end, "+0|x|~");
        }
        edf_files_samples(&file, &code, 1);
        edf_files_annotations(&file, lists, 35010);
        if (count == LIMIT_EVENTS) {
            assert_int_equal(edf_files_read_sound(arena, &file, &options, NULL)->event_count,
                             LIMIT_EVENTS);
        } else {
            edf_files_check_fault("many", &file, &options, "/signals", "At most 10000", true);
        }
        arena_free(arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_values_of_a_file),
        cmocka_unit_test(test_events_of_a_file),
        cmocka_unit_test(test_events_in_any_order),
        cmocka_unit_test(test_report),
        cmocka_unit_test(test_scales_are_nearest_to_the_decimals),
        cmocka_unit_test(test_codes_out_of_range_are_missing),
        cmocka_unit_test(test_the_least_code_as_a_value),
        cmocka_unit_test(test_plain_edf),
        cmocka_unit_test(test_fraction_of_the_start),
        cmocka_unit_test(test_start_from_the_caller),
        cmocka_unit_test(test_dates),
        cmocka_unit_test(test_labels_by_themselves),
        cmocka_unit_test(test_units),
        cmocka_unit_test(test_labels_from_the_caller),
        cmocka_unit_test(test_faults_of_labels),
        cmocka_unit_test(test_faults_of_a_header),
        cmocka_unit_test(test_faults_keep_quiet_about_people),
        cmocka_unit_test(test_all_faults_are_told),
        cmocka_unit_test(test_local_time_alone_is_refused),
        cmocka_unit_test(test_other_files_are_told_apart),
        cmocka_unit_test(test_cut_files),
        cmocka_unit_test(test_faults_of_annotations),
        cmocka_unit_test(test_annotations_only),
        cmocka_unit_test(test_gaps_are_missing_samples),
        cmocka_unit_test(test_faults_of_gaps),
        cmocka_unit_test(test_tolerance_of_onsets),
        cmocka_unit_test(test_memory_is_bounded),
        cmocka_unit_test(test_samples_of_all_channels_are_bounded),
        cmocka_unit_test(test_too_many_annotations),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
