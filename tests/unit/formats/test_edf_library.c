/* EDFlib, a general-purpose EDF library that shares no code with ours, as the other party: files
 * that it writes are read right here, and files written here are read right by it. */
#include "edf_files.h"

#include "documents.h"
#include "formats/edf_write.h"

#include <edflib.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

enum { PATH_SIZE = 256, SIGNALS = 4, RECORDS = 1000, RATE_MOST = 100 };

static const long long TICKS_PER_S = EDFLIB_TIME_DIMENSION; /* of 100 ns */

static void temporary(char path[PATH_SIZE])
{
    const char *folder = getenv("TMPDIR"); // NOLINT(concurrency-mt-unsafe): one thread
    (void)snprintf(path, PATH_SIZE, "%s/penstock-edf-XXXXXX", folder == NULL ? "/tmp" : folder);
    int descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    assert_int_equal(close(descriptor), 0);
}

static struct edf_bytes load(struct arena *arena, const char *path)
{
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    assert_int_equal(fseek(stream, 0, SEEK_END), 0);
    long length = ftell(stream);
    assert_true(length > 0);
    rewind(stream);
    struct edf_bytes file = {
        .arena = arena, .bytes = arena_alloc(arena, (size_t)length), .length = (size_t)length};
    assert_int_equal(fread(file.bytes, 1, file.length, stream), file.length);
    assert_int_equal(fclose(stream), 0);
    return file;
}

static void save(const char *path, const struct edf_file *file)
{
    FILE *stream = fopen(path, "wb");
    assert_non_null(stream);
    assert_int_equal(fwrite(file->bytes, 1, file->length, stream), file->length);
    assert_int_equal(fclose(stream), 0);
}

/* ---- written by EDFlib ---- */

struct library_signal {
    const char *label;
    const char *dimension;
    double pmin;
    double pmax;
    int dmin;
    int dmax;
    int samples; /* in a record */
    enum signal_kind signal;
};

static const struct library_signal signals[SIGNALS] = {
    {"Press pves", "cmH2O", -100, 300, -2048, 2047, 10, SIGNAL_PVES},
    {"P abd", "mmHg", 327.67, -327.68, -32768, 32767, 4, SIGNAL_PABD}, /* negative gain */
    {"EMG", "uV", -1000.5, 999.5, -32767, 32767, RATE_MOST, SIGNAL_EMG},
    {"Flow Qura", "ml/s", -10, 90, 0, 1000, 1, SIGNAL_FLOW},
};

/* Any code of the signal's range, the least and the greatest early. */
static int code_of(const struct library_signal *signal, int index)
{
    int width = signal->dmax - signal->dmin + 1;
    return index < 2 ? (index == 0 ? signal->dmin : signal->dmax)
                     : signal->dmin + (int)((unsigned)index * 7919u % (unsigned)width);
}

/* `duration` in units of 10 us. */
static void write_with_library(const char *path, int duration, bool has_annotations)
{
    int handle = edfopen_file_writeonly(path, EDFLIB_FILETYPE_EDFPLUS, SIGNALS);
    assert_true(handle >= 0);
    for (int i = 0; i < SIGNALS; i++) {
        assert_int_equal(edf_set_samplefrequency(handle, i, signals[i].samples), 0);
        assert_int_equal(edf_set_physical_minimum(handle, i, signals[i].pmin), 0);
        assert_int_equal(edf_set_physical_maximum(handle, i, signals[i].pmax), 0);
        assert_int_equal(edf_set_digital_minimum(handle, i, signals[i].dmin), 0);
        assert_int_equal(edf_set_digital_maximum(handle, i, signals[i].dmax), 0);
        assert_int_equal(edf_set_label(handle, i, signals[i].label), 0);
        assert_int_equal(edf_set_physical_dimension(handle, i, signals[i].dimension), 0);
    }
    assert_int_equal(edf_set_startdatetime(handle, 2026, 3, 2, 9, 31, 5), 0);
    assert_int_equal(edf_set_datarecord_duration(handle, duration), 0);
    if (has_annotations) {
        assert_int_equal(edf_set_subsecond_starttime(handle, 2500000), 0);
        assert_int_equal(edf_set_patientname(handle, "Invented Person"), 0);
    }
    for (int record = 0; record < RECORDS; record++) {
        for (int i = 0; i < SIGNALS; i++) {
            int codes[RATE_MOST];
            for (int j = 0; j < signals[i].samples; j++) {
                codes[j] = code_of(&signals[i], record * signals[i].samples + j);
            }
            assert_int_equal(edfwrite_digital_samples(handle, codes), 0);
        }
    }
    if (has_annotations) {
        assert_int_equal(edfwrite_annotation_utf8(handle, 0, -1, "Filling start"), 0);
        assert_int_equal(edfwrite_annotation_utf8(handle, 615000, -1, "first_desire: ja"), 0);
        assert_int_equal(edfwrite_annotation_utf8(handle, 1000001, 25000, "gr\xC3\xBC\xC3\x9F"), 0);
    }
    assert_int_equal(edfclose_file(handle), 0);
}

/* The same file through EDFlib's own reader: values of a signal. */
static void compare_values(const char *path, const struct recording_document *document,
                           struct arena *arena)
{
    struct edf_hdr_struct *header = arena_alloc(arena, sizeof *header);
    assert_int_equal(edfopen_file_readonly(path, header, EDFLIB_READ_ALL_ANNOTATIONS), 0);
    for (int i = 0; i < SIGNALS; i++) {
        const struct document_channel *channel = &document->channels[i];
        int count = RECORDS * signals[i].samples;
        double *theirs = arena_array(arena, (size_t)count, sizeof *theirs);
        const double *ours = samples_all_values(&channel->samples, arena);
        double size = fmax(fabs(signals[i].pmin), fabs(signals[i].pmax));
        assert_int_equal(channel->signal, signals[i].signal);
        assert_int_equal(channel->samples.count, count);
        assert_int_equal(channel->samples.missing, 0);
        assert_int_equal(edfread_physical_samples(header->handle, i, count, theirs), count);
        for (int j = 0; j < count; j++) {
            documents_assert_close(ours[j], theirs[j], 1e-10 * size);
        }
    }
    assert_int_equal(edfclose_file(header->handle), 0);
}

static void compare_codes(const struct recording_document *document)
{
    for (int i = 0; i < SIGNALS; i++) {
        const struct samples *samples = &document->channels[i].samples;
        bool is_wide = signals[i].dmin == INT16_MIN;
        assert_int_equal(samples->encoding, is_wide ? SAMPLES_INT32 : SAMPLES_INT16);
        for (int j = 0; j < RECORDS * signals[i].samples; j++) {
            int code = is_wide ? ((const int32_t *)samples->codes)[j]
                               : ((const int16_t *)samples->codes)[j];
            assert_int_equal(code, code_of(&signals[i], j));
        }
    }
}

static void test_edf_plus_by_the_library(void **state)
{
    (void)state;
    char path[PATH_SIZE];
    struct arena *arena = arena_new();
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    temporary(path);
    write_with_library(path, 100000, true);
    struct edf_bytes file = load(arena, path);
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    assert_true(report->has_patient);
    assert_int_equal(report->kind, EDF_KIND_CONTINUOUS);
    assert_true(document->started_at_us == INT64_C(1772440265250000));
    assert_int_equal(document->channel_count, SIGNALS);
    compare_codes(document);
    compare_values(path, document, arena);
    documents_assert_close(document->channels[2].rate_hz, 100.0, 0.0);
    assert_string_equal(document->channels[1].unit, "mm[Hg]");
    assert_true(document->channels[1].samples.scale < 0.0);
    assert_int_equal(document->event_count, 3);
    documents_assert_close(document->events[0].at_s, 0.0, 0.0);
    assert_string_equal(document->events[0].code, "filling_start");
    documents_assert_close(document->events[1].at_s, 61.5, 0.0);
    assert_string_equal(document->events[1].code, "first_desire");
    assert_string_equal(document->events[1].note, "ja");
    documents_assert_close(document->events[2].at_s, 100.0001, 0.0);
    assert_string_equal(document->events[2].code, "comment");
    assert_string_equal(document->events[2].note, "gr\xC3\xBC\xC3\x9F (lasted 2.5 s)");
    assert_int_equal(unlink(path), 0);
    arena_free(arena);
}

static void test_longer_records_by_the_library(void **state)
{
    (void)state;
    char path[PATH_SIZE];
    struct arena *arena = arena_new();
    struct edf_options options = edf_files_options();
    const struct edf_report *report = NULL;
    temporary(path);
    write_with_library(path, 250000, false);
    struct edf_bytes file = load(arena, path);
    const struct recording_document *document =
        edf_files_read_sound(arena, &file, &options, &report);
    assert_false(report->has_patient);
    documents_assert_close(report->record_duration_s, 2.5, 0.0);
    assert_int_equal(document->event_count, 0);
    assert_true(document->started_at_us == INT64_C(1772440265000000));
    documents_assert_close(document->channels[0].rate_hz, 4.0, 0.0);
    documents_assert_close(document->channels[3].rate_hz, 0.4, 0.0);
    compare_codes(document);
    compare_values(path, document, arena);
    assert_int_equal(unlink(path), 0);
    arena_free(arena);
}

/* ---- read by EDFlib ---- */

enum { OUR_SAMPLES = 3000, OUR_EVENTS = 5 };

static const struct document_event our_events[OUR_EVENTS] = {
    {0.0, "filling_start", "", {false, 0.0}},
    {12.3456789, "balloon", "held", {true, 50.5}},
    {12.5, "saline_stopped", "", {false, 0.0}},
    {61.5, "comment", "gr\xC3\xBC\xC3\x9F", {false, 0.0}},
    {299.9, "comment", "cough", {false, 0.0}},
};

static const char *const our_texts[OUR_EVENTS] = {"filling_start", "balloon [50.5]: held",
                                                  "#saline_stopped", "gr\xC3\xBC\xC3\x9F",
                                                  "comment: cough"};

static void check_text(const char *field, const char *expected)
{
    size_t length = strlen(expected);
    assert_memory_equal(field, expected, length);
    assert_int_equal(strspn(field + length, " "), strlen(field + length));
}

/* pves int16 at 10 Hz, pabd in decimals at 4 Hz from 1.5 s on, EMG in floats at 33 1/3 Hz. */
static void make_document(struct arena *arena, struct recording_document *document)
{
    struct document_channel *channels = arena_array(arena, 3, sizeof *channels);
    int16_t *pves = arena_array(arena, OUR_SAMPLES, sizeof *pves);
    double *pabd = arena_array(arena, OUR_SAMPLES, sizeof *pabd);
    float *emg = arena_array(arena, OUR_SAMPLES, sizeof *emg);
    for (int i = 0; i < OUR_SAMPLES; i++) {
        pves[i] = (int16_t)(i % 100 == 7 ? INT16_MIN : i * 7919 % 65535 - 32767);
        pabd[i] = (double)(i * 31 % 5000 - 2500) / 100.0;
        emg[i] = (float)(200.0 * sin(i / 10.0));
    }
    channels[0] = (struct document_channel){.signal = SIGNAL_PVES,
                                            .unit = "cm[H2O]",
                                            .rate_hz = 10.0,
                                            .samples = {.encoding = SAMPLES_INT16,
                                                        .scale = -0.01,
                                                        .offset = 20.0,
                                                        .count = OUR_SAMPLES,
                                                        .missing = OUR_SAMPLES / 100,
                                                        .codes = pves}};
    channels[1] = (struct document_channel){
        .signal = SIGNAL_PABD, .unit = "mm[Hg]", .rate_hz = 4.0, .start_s = 1.5};
    samples_from_values(pabd, OUR_SAMPLES / 3, arena, &channels[1].samples);
    channels[2] = (struct document_channel){
        .signal = SIGNAL_EMG,
        .unit = "uV",
        .rate_hz = 100.0 / 3.0,
        .samples = {.encoding = SAMPLES_FLOAT32, .count = OUR_SAMPLES, .codes = emg}};
    *document = (struct recording_document){.type = RECORDING_CYSTOMETRY,
                                            .started_at_us = INT64_C(1772440265250000),
                                            .channel_count = 3,
                                            .channels = channels};
    document->events = arena_array(arena, OUR_EVENTS, sizeof *document->events);
    memcpy(document->events, our_events, sizeof our_events);
    document->event_count = OUR_EVENTS;
}

static void check_signal(struct arena *arena, const struct edf_hdr_struct *header, int index,
                         const struct document_channel *channel,
                         const struct edf_written_channel *written)
{
    int count = (int)header->signalparam[index].smp_in_file;
    size_t first = (size_t)rint(channel->start_s * channel->rate_hz);
    double *physical = arena_array(arena, (size_t)count, sizeof *physical);
    int *codes = arena_array(arena, (size_t)count, sizeof *codes);
    const double *values = samples_all_values(&channel->samples, arena);
    assert_int_equal(count, channel->samples.count + written->padded);
    assert_int_equal(edfread_physical_samples(header->handle, index, count, physical), count);
    edfrewind(header->handle, index);
    assert_int_equal(edfread_digital_samples(header->handle, index, count, codes), count);
    for (size_t i = 0; i < (size_t)count; i++) {
        bool is_inside = i >= first && i < first + channel->samples.count;
        if (!is_inside || isnan(values[i - first])) {
            /* -32768 in the file; EDFlib lifts what is below the digital range to its edge. */
            assert_int_equal(codes[i], -32767);
            continue;
        }
        documents_assert_close(physical[i], values[i - first], written->greatest_error + 1e-9);
        if (channel->samples.encoding == SAMPLES_INT16) {
            assert_int_equal(codes[i], ((const int16_t *)channel->samples.codes)[i - first]);
        } else if (channel->samples.encoding == SAMPLES_DECIMAL) {
            assert_int_equal(codes[i], ((const int32_t *)channel->samples.codes)[i - first]);
        }
    }
}

static void check_header(const struct edf_hdr_struct *header)
{
    static const char *const labels[] = {"Press pves", "Press pabd", "EMG"};
    static const char *const dimensions[] = {"cmH2O", "mmHg", "uV"};
    assert_int_equal(header->filetype, EDFLIB_FILETYPE_EDFPLUS);
    assert_int_equal(header->edfsignals, 3);
    assert_int_equal(header->startdate_year, 2026);
    assert_int_equal(header->startdate_month, 3);
    assert_int_equal(header->startdate_day, 2);
    assert_int_equal(header->starttime_hour, 9);
    assert_int_equal(header->starttime_minute, 31);
    assert_int_equal(header->starttime_second, 5);
    assert_int_equal(header->starttime_subsecond, 2500000);
    assert_int_equal(header->datarecord_duration, 3 * TICKS_PER_S);
    assert_int_equal(header->datarecords_in_file, 100);
    check_text(header->equipment, "Penstock");
    check_text(header->patient_name, "X"); /* EDF+'s word for nothing */
    check_text(header->patientcode, "");
    for (int i = 0; i < 3; i++) {
        check_text(header->signalparam[i].label, labels[i]);
        check_text(header->signalparam[i].physdimension, dimensions[i]);
        assert_int_equal(header->signalparam[i].dig_min, -32767);
        assert_int_equal(header->signalparam[i].dig_max, 32767);
    }
}

static void test_ours_by_the_library(void **state)
{
    (void)state;
    char path[PATH_SIZE];
    struct arena *arena = arena_new();
    struct recording_document document;
    struct edf_file file;
    struct error error;
    struct edf_hdr_struct *header = arena_alloc(arena, sizeof *header);
    make_document(arena, &document);
    assert_true(edf_write(arena, &document, 60, &file, &error));
    temporary(path);
    save(path, &file);
    if (edfopen_file_readonly(path, header, EDFLIB_READ_ALL_ANNOTATIONS) != 0) {
        fail_msg("EDFlib refuses the file: %d", header->filetype);
    }
    check_header(header);
    for (int i = 0; i < 3; i++) {
        check_signal(arena, header, i, &document.channels[i], &file.channels[i]);
    }
    assert_true(file.channels[0].is_exact && file.channels[1].is_exact);
    assert_true(file.channels[2].greatest_error < 400.0 / 65534.0 * 0.51);
    assert_int_equal(header->annotations_in_file, OUR_EVENTS);
    for (int i = 0; i < OUR_EVENTS; i++) {
        struct edf_annotation_struct annotation;
        assert_int_equal(edf_get_annotation(header->handle, i, &annotation), 0);
        assert_int_equal(annotation.onset, llrint(our_events[i].at_s * (double)TICKS_PER_S));
        assert_string_equal(annotation.annotation, our_texts[i]);
    }
    assert_int_equal(edfclose_file(header->handle), 0);
    assert_int_equal(unlink(path), 0);
    arena_free(arena);
}

/* Header fields in unusual shape that ours may hold: no zero before the point, six decimals. */
static void test_small_scales_by_the_library(void **state)
{
    (void)state;
    static const int32_t codes[] = {-32767, 0, 32767, 5};
    char path[PATH_SIZE];
    struct arena *arena = arena_new();
    struct edf_file file;
    struct error error;
    struct edf_hdr_struct *header = arena_alloc(arena, sizeof *header);
    struct document_channel channel = {
        .signal = SIGNAL_EMG,
        .unit = "mV",
        .rate_hz = 4.0,
        .samples = {.encoding = SAMPLES_DECIMAL, .decimals = 6, .count = 4, .codes = codes}};
    struct recording_document document = {
        .started_at_us = INT64_C(1772440265000000), .channel_count = 1, .channels = &channel};
    assert_true(edf_write(arena, &document, 0, &file, &error));
    assert_true(file.channels[0].is_exact);
    temporary(path);
    save(path, &file);
    assert_int_equal(edfopen_file_readonly(path, header, EDFLIB_READ_ALL_ANNOTATIONS), 0);
    check_signal(arena, header, 0, &channel, &file.channels[0]);
    assert_int_equal(edfclose_file(header->handle), 0);
    assert_int_equal(unlink(path), 0);
    arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_edf_plus_by_the_library),
        cmocka_unit_test(test_longer_records_by_the_library),
        cmocka_unit_test(test_ours_by_the_library),
        cmocka_unit_test(test_small_scales_by_the_library),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
