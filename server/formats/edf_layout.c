#include "formats/edf_layout.h"

#include "formats/limits.h"

#include <string.h>

enum { SIGNALS_MAX = 512 };

/* ---- fields ---- */

/* `signal_count` of the offsets is the layout's own; the fixed part does not depend on it. */
static size_t field_start(const struct edf_layout *layout, enum edf_field field, size_t signal)
{
    return edf_field_offset(field, signal, layout->row_count);
}

const char *edf_layout_text(const struct edf_layout *layout, enum edf_field field, size_t signal)
{
    const uint8_t *bytes = layout->body + field_start(layout, field, signal);
    size_t width = edf_field_width(field);
    while (width > 0 && bytes[width - 1] == ' ') {
        width--;
    }
    while (width > 0 && *bytes == ' ') {
        bytes++;
        width--;
    }
    char *text = arena_strndup(layout->arena, "", 0);
    if (width > 0) {
        text = arena_alloc(layout->arena, width + 1);
        for (size_t i = 0; i < width; i++) {
            text[i] = (char)(bytes[i] >= ' ' && bytes[i] <= '~' ? bytes[i] : '?');
        }
    }
    return text;
}

static const char *field_pointer(const struct edf_layout *layout, enum edf_field field,
                                 size_t signal)
{
    if (layout->faults->count == FAULT_LIMIT) {
        return "";
    }
    return edf_field_is_of_signal(field)
               ? arena_printf(layout->arena, "/signals/%zu/%s", signal, edf_field_name(field))
               : arena_printf(layout->arena, "/%s", edf_field_name(field));
}

void edf_layout_fault(const struct edf_layout *layout, enum edf_field field, size_t signal,
                      const char *sentence)
{
    size_t start = field_start(layout, field, signal);
    size_t last = start + edf_field_width(field) - 1;
    const char *pointer = field_pointer(layout, field, signal);
    if (field == EDF_PATIENT || field == EDF_RECORDING) {
        fault_add(layout->faults, pointer, "Bytes %zu to %zu: %s", start, last, sentence);
        return;
    }
    fault_add(layout->faults, pointer, "Bytes %zu to %zu say \"%s\": %s", start, last,
              edf_layout_text(layout, field, signal), sentence);
}

bool edf_layout_is_ascii(const struct edf_layout *layout, enum edf_field field, size_t signal)
{
    const uint8_t *bytes = layout->body + field_start(layout, field, signal);
    for (size_t i = 0; i < edf_field_width(field); i++) {
        if (bytes[i] < ' ' || bytes[i] > '~') {
            edf_layout_fault(layout, field, signal,
                             "must be printable ASCII, filled up with blanks.");
            return false;
        }
    }
    return true;
}

/* A whole number within [least, most]; a fault if not. */
static bool read_integer(const struct edf_layout *layout, enum edf_field field, size_t signal,
                         int64_t least, int64_t most, int64_t *ret_number)
{
    if (edf_integer_parse(edf_layout_text(layout, field, signal), ret_number) &&
        *ret_number >= least && *ret_number <= most) {
        return true;
    }
    edf_layout_fault(layout, field, signal,
                     arena_printf(layout->arena, "must be a whole number between %lld and %lld.",
                                  (long long)least, (long long)most));
    return false;
}

/* ---- what the bytes are ---- */

static const struct {
    const char *start;
    size_t length;
    const char *what;
} strangers[] = {
    {"\xff"
     "BIOSEMI",
     8, "BDF, which has 24-bit samples; export EDF or EDF+ instead"},
    {"\x1f\x8b", 2, "gzip; say so in Content-Encoding or unpack it"},
    {"\x28\xb5\x2f\xfd", 4, "zstd; say so in Content-Encoding or unpack it"},
    {"PK\x03\x04", 4, "a zip archive; unpack it"},
    {"{", 1, "JSON"},
    {"<", 1, "XML"},
};

/* False with one fault when the bytes are no EDF file. */
static bool identify(const struct edf_layout *layout)
{
    for (size_t i = 0; i < sizeof strangers / sizeof strangers[0]; i++) {
        if (layout->length >= strangers[i].length &&
            memcmp(layout->body, strangers[i].start, strangers[i].length) == 0) {
            fault_add(layout->faults, "", "This is not EDF; it looks like %s.", strangers[i].what);
            return false;
        }
    }
    if (layout->length < EDF_HEADER_PART) {
        fault_add(layout->faults, "", "This is not EDF: %zu bytes, and a header alone has %d.",
                  layout->length, EDF_HEADER_PART);
        return false;
    }
    if (strcmp(edf_layout_text(layout, EDF_VERSION, 0), "0") != 0) {
        edf_layout_fault(layout, EDF_VERSION, 0, "an EDF file begins with 0 and seven blanks.");
        return false;
    }
    const char *reserved = edf_layout_text(layout, EDF_RESERVED, 0);
    if (strncmp(reserved, "BDF", 3) == 0 || strncmp(reserved, "24BIT", 5) == 0) {
        edf_layout_fault(layout, EDF_RESERVED, 0,
                         "this is BDF, which has 24-bit samples; export EDF or EDF+ instead.");
        return false;
    }
    return true;
}

static void read_kind(struct edf_layout *layout)
{
    const char *reserved = edf_layout_text(layout, EDF_RESERVED, 0);
    if (strncmp(reserved, "EDF+", 4) != 0) {
        return;
    }
    if (reserved[4] == 'C') {
        layout->kind = EDF_KIND_CONTINUOUS;
    } else if (reserved[4] == 'D') {
        layout->kind = EDF_KIND_DISCONTINUOUS;
    } else {
        edf_layout_fault(layout, EDF_RESERVED, 0,
                         "must begin with EDF+C (continuous) or EDF+D (with gaps) in EDF+.");
    }
}

/* ---- records ---- */

static bool read_duration(struct edf_layout *layout)
{
    struct edf_decimal number = {0, 0, 0.0};
    const char *text = edf_layout_text(layout, EDF_RECORD_DURATION, 0);
    if (!edf_decimal_parse(text, &number) || strpbrk(text, "eE") != NULL || number.digits <= 0 ||
        number.value > LIMIT_DURATION_S) {
        edf_layout_fault(
            layout, EDF_RECORD_DURATION, 0,
            arena_printf(layout->arena,
                         "must be seconds as a plain number, greater than 0 and at most %.15g.",
                         LIMIT_DURATION_S));
        return false;
    }
    layout->duration = number;
    layout->record_ns = number.digits;
    for (int i = number.decimals; i < 9; i++) {
        layout->record_ns *= 10;
    }
    return true;
}

static bool read_record_count(struct edf_layout *layout)
{
    int64_t count = 0;
    if (edf_integer_parse(edf_layout_text(layout, EDF_RECORDS, 0), &count) && count == -1) {
        edf_layout_fault(layout, EDF_RECORDS, 0,
                         "the file was not closed by the program that wrote it: export it again.");
        return false;
    }
    if (!read_integer(layout, EDF_RECORDS, 0, 1, 99999999, &count)) {
        return false;
    }
    layout->record_count = (size_t)count;
    if ((double)count * layout->duration.value > LIMIT_DURATION_S) {
        edf_layout_fault(layout, EDF_RECORDS, 0,
                         arena_printf(layout->arena, "all records together last more than %.15g s.",
                                      LIMIT_DURATION_S));
        return false;
    }
    return true;
}

/* The file must be as long as header and records say. */
static bool check_length(const struct edf_layout *layout)
{
    size_t expected = layout->header_bytes + layout->record_count * layout->record_bytes;
    if (layout->length == expected) {
        return true;
    }
    size_t whole = (layout->length - layout->header_bytes) / layout->record_bytes;
    if (layout->length > expected) {
        edf_layout_fault(layout, EDF_RECORDS, 0,
                         arena_printf(layout->arena,
                                      "%zu bytes follow the last record; the file holds %zu whole "
                                      "records of %zu bytes.",
                                      layout->length - expected, whole, layout->record_bytes));
    } else {
        edf_layout_fault(layout, EDF_RECORDS, 0,
                         arena_printf(layout->arena,
                                      "%zu bytes are missing at the end; the file holds %zu whole "
                                      "records of %zu bytes.",
                                      expected - layout->length, whole, layout->record_bytes));
    }
    return false;
}

/* ---- signals ---- */

static bool read_row_count(struct edf_layout *layout)
{
    int64_t count = 0;
    if (!read_integer(layout, EDF_SIGNAL_COUNT, 0, 1, SIGNALS_MAX, &count)) {
        return false;
    }
    size_t header_bytes = EDF_HEADER_PART * ((size_t)count + 1);
    int64_t stated = 0;
    if (!edf_integer_parse(edf_layout_text(layout, EDF_HEADER_BYTES, 0), &stated) ||
        stated != (int64_t)header_bytes) {
        edf_layout_fault(layout, EDF_HEADER_BYTES, 0,
                         arena_printf(layout->arena, "a header of %lld signals has %zu bytes.",
                                      (long long)count, header_bytes));
        return false;
    }
    if (layout->length < header_bytes) {
        edf_layout_fault(layout, EDF_HEADER_BYTES, 0,
                         arena_printf(layout->arena, "the file ends after %zu bytes, within it.",
                                      layout->length));
        return false;
    }
    layout->header_bytes = header_bytes;
    layout->row_count = (size_t)count;
    return true;
}

static bool read_rows(struct edf_layout *layout)
{
    bool is_sound = true;
    layout->rows = arena_array(layout->arena, layout->row_count, sizeof *layout->rows);
    for (size_t i = 0; i < layout->row_count; i++) {
        struct edf_row *row = &layout->rows[i];
        int64_t samples = 0;
        row->label = edf_layout_text(layout, EDF_LABEL, i);
        row->is_annotations = strcmp(row->label, EDF_ANNOTATIONS_LABEL) == 0;
        is_sound &= edf_layout_is_ascii(layout, EDF_LABEL, i);
        if (!read_integer(layout, EDF_SAMPLES_PER_RECORD, i, 1, 99999999, &samples)) {
            is_sound = false;
            continue;
        }
        row->sample_count = (size_t)samples;
        row->offset = layout->record_bytes;
        layout->record_bytes += row->sample_count * EDF_SAMPLE_BYTES;
    }
    return is_sound;
}

static void check_annotation_rows(const struct edf_layout *layout)
{
    size_t annotations = 0;
    for (size_t i = 0; i < layout->row_count; i++) {
        annotations += layout->rows[i].is_annotations ? 1 : 0;
    }
    if (layout->kind == EDF_KIND_PLAIN && annotations > 0) {
        edf_layout_fault(layout, EDF_RESERVED, 0,
                         "a file with a signal \"" EDF_ANNOTATIONS_LABEL
                         "\" must say EDF+C or EDF+D here.");
    } else if (layout->kind != EDF_KIND_PLAIN && annotations == 0) {
        fault_add(layout->faults, "/signals",
                  "EDF+ needs a signal \"" EDF_ANNOTATIONS_LABEL
                  "\", which says when each record begins.");
    }
    if (annotations == layout->row_count) {
        fault_add(layout->faults, "/signals", "The file holds annotations only, and no signal.");
    }
}

enum edf_read_outcome edf_layout_read(struct arena *arena, const void *body, size_t length,
                                      struct fault_list *faults, struct edf_layout *ret_layout)
{
    struct edf_layout layout = {.arena = arena, .faults = faults, .body = body, .length = length};
    size_t faults_before = faults->count + faults->dropped;
    *ret_layout = layout;
    if (!identify(&layout)) {
        return EDF_READ_MALFORMED;
    }
    read_kind(&layout);
    bool has_duration = read_duration(&layout);
    bool has_count = read_record_count(&layout);
    if (read_row_count(&layout)) {
        bool has_rows = read_rows(&layout);
        check_annotation_rows(&layout);
        layout.has_records = has_rows && has_count && has_duration && check_length(&layout);
    }
    *ret_layout = layout;
    return faults->count + faults->dropped > faults_before ? EDF_READ_INVALID : EDF_READ_OK;
}

const uint8_t *edf_layout_record(const struct edf_layout *layout, size_t record)
{
    return layout->body + layout->header_bytes + record * layout->record_bytes;
}
