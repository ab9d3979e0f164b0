#include "edf_files.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { FILE_MAX = 1 << 20 };

static void put(struct edf_bytes *file, const char *text, size_t width)
{
    size_t length = text == NULL ? 0 : strlen(text);
    assert_true(length <= width && file->length + width <= FILE_MAX);
    memset(file->bytes + file->length, ' ', width);
    if (length > 0) {
        memcpy(file->bytes + file->length, text, length);
    }
    file->length += width;
}

static void put_number(struct edf_bytes *file, int number, size_t width)
{
    put(file, arena_printf(file->arena, "%d", number), width);
}

static const char *or_default(const char *text, const char *fallback)
{
    return text == NULL ? fallback : text;
}

struct edf_bytes edf_files_header(struct arena *arena, const struct edf_file_parts *parts)
{
    struct edf_bytes file = {.arena = arena, .bytes = arena_alloc(arena, FILE_MAX)};
    int count = parts->signal_count;
    put(&file, "0", 8);
    put(&file, parts->patient, 80);
    put(&file, parts->recording, 80);
    put(&file, or_default(parts->startdate, "02.03.26"), 8);
    put(&file, or_default(parts->starttime, "09.31.05"), 8);
    put_number(&file, 256 * (count + 1), 8);
    put(&file, parts->reserved, 44);
    put(&file, parts->records, 8);
    put(&file, or_default(parts->duration, "1"), 8);
    put_number(&file, count, 4);
    for (int i = 0; i < count; i++) {
        put(&file, parts->signals[i].label, 16);
    }
    put(&file, NULL, 80 * (size_t)count);
    for (int i = 0; i < count; i++) {
        put(&file, parts->signals[i].dimension, 8);
    }
    for (int i = 0; i < count; i++) {
        put(&file, parts->signals[i].pmin, 8);
    }
    for (int i = 0; i < count; i++) {
        put(&file, parts->signals[i].pmax, 8);
    }
    for (int i = 0; i < count; i++) {
        put(&file, parts->signals[i].dmin, 8);
    }
    for (int i = 0; i < count; i++) {
        put(&file, parts->signals[i].dmax, 8);
    }
    put(&file, NULL, 80 * (size_t)count);
    for (int i = 0; i < count; i++) {
        put_number(&file, parts->signals[i].samples, 8);
    }
    put(&file, NULL, 32 * (size_t)count);
    assert_int_equal(file.length, 256 * (count + 1));
    return file;
}

void edf_files_samples(struct edf_bytes *file, const int *codes, size_t count)
{
    assert_true(file->length + 2 * count <= FILE_MAX);
    for (size_t i = 0; i < count; i++) {
        file->bytes[file->length++] = (uint8_t)((unsigned)codes[i] & 255u);
        file->bytes[file->length++] = (uint8_t)((unsigned)codes[i] >> 8 & 255u);
    }
}

void edf_files_annotations(struct edf_bytes *file, const char *lists, int samples)
{
    size_t width = 2 * (size_t)samples;
    assert_true(strlen(lists) <= width && file->length + width <= FILE_MAX);
    memset(file->bytes + file->length, 0, width);
    for (size_t i = 0; lists[i] != '\0'; i++) {
        uint8_t byte = (uint8_t)lists[i];
        byte = byte == '|' ? 0x14 : byte;
        byte = byte == '^' ? 0x15 : byte;
        file->bytes[file->length + i] = byte == '~' ? 0 : byte;
    }
    file->length += width;
}

void edf_files_replace(struct edf_bytes *file, size_t offset, size_t width, const char *text)
{
    assert_true(strlen(text) <= width && offset + width <= file->length);
    memset(file->bytes + offset, ' ', width);
    memcpy(file->bytes + offset, text, strlen(text));
}

struct edf_bytes edf_files_sound(struct arena *arena)
{
    static const struct edf_file_signal signals[] = {
        {"Press pves", "cmH2O", "-100", "100", "-1000", "1000", 4},
        {"Flow Qura", "ml/s", "0", "50", "0", "500", 2},
        {"EDF Annotations", "", "-1", "1", "-32768", "32767", 30},
    };
    static const struct edf_file_parts parts = {.patient = "X X X X",
                                                .recording = "Startdate 02-MAR-2026 X X X",
                                                .reserved = "EDF+C",
                                                .records = "2",
                                                .signal_count = 3,
                                                .signals = signals};
    static const int pves[] = {0, 1, -1000, 1000, 123, -45, 7, 8};
    static const int flow[] = {0, 500, 250, 1};
    struct edf_bytes file = edf_files_header(arena, &parts);
    for (size_t record = 0; record < 2; record++) {
        edf_files_samples(&file, pves + 4 * record, 4);
        edf_files_samples(&file, flow + 2 * record, 2);
        edf_files_annotations(&file,
                              record == 0 ? "+0||~+0.5|First desire|cough: strong|~"
                                          : "+1||~+1.25^2.5|said hello|~",
                              30);
    }
    return file;
}

struct edf_options edf_files_options(void)
{
    return (struct edf_options){
        .type = RECORDING_PRESSURE_FLOW, .has_utc_offset = true, .utc_offset_min = 60};
}

const struct recording_document *edf_files_read_sound(struct arena *arena,
                                                      const struct edf_bytes *file,
                                                      const struct edf_options *options,
                                                      const struct edf_report **ret_report)
{
    struct fault_list faults;
    const struct recording_document *document = NULL;
    const struct edf_report *report = NULL;
    fault_list_init(&faults, arena);
    /* In memory of its own length, so that the sanitizer sees reading past it. */
    uint8_t *bytes = arena_alloc(arena, file->length);
    memcpy(bytes, file->bytes, file->length);
    enum edf_read_outcome outcome =
        edf_read(arena, bytes, file->length, options, &document, &report, &faults);
    if (outcome != EDF_READ_OK) {
        fail_msg("unexpected fault %s: %s", faults.items[0].pointer, faults.items[0].detail);
    }
    assert_int_equal(faults.count, 0);
    assert_non_null(document);
    assert_non_null(report);
    if (ret_report != NULL) {
        *ret_report = report;
    }
    return document;
}

void edf_files_check_fault(const char *what, const struct edf_bytes *file,
                           const struct edf_options *options, const char *pointer,
                           const char *detail, bool only)
{
    struct fault_list faults;
    const struct recording_document *document = NULL;
    const struct edf_report *report = NULL;
    bool is_found = false;
    fault_list_init(&faults, file->arena);
    enum edf_read_outcome outcome =
        edf_read(file->arena, file->bytes, file->length, options, &document, &report, &faults);
    if (outcome == EDF_READ_OK || faults.count == 0 || document != NULL) {
        fail_msg("%s: outcome %d, %zu faults", what, (int)outcome, faults.count);
    }
    for (size_t i = 0; i < faults.count; i++) {
        is_found = is_found || (strcmp(faults.items[i].pointer, pointer) == 0 &&
                                strstr(faults.items[i].detail, detail) != NULL);
    }
    if (!is_found || (only && faults.count != 1)) {
        fail_msg("%s: %zu faults, the first %s: %s", what, faults.count, faults.items[0].pointer,
                 faults.items[0].detail);
    }
}
