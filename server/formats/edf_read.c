#include "formats/edf_read.h"

#include "analysis/units.h"
#include "base/clock.h"
#include "formats/document_parts.h"
#include "formats/edf_annotations.h"
#include "formats/edf_layout.h"
#include "formats/edf_names.h"
#include "formats/limits.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* How far off a channel's sample grid a record may begin: onsets are written with few decimals. */
static const double GRID_TOLERANCE_SAMPLES = 0.1;

/* How far an onset of EDF+C may be from where the record's number puts it: half a sample of the
 * fastest channel, or what a writer's rounding of onsets and durations comes to. */
static const double CONTINUOUS_TOLERANCE_SAMPLES = 0.5;
static const double CONTINUOUS_TOLERANCE_S = 0.001;

static const int64_t US_PER_MINUTE = 60 * INT64_C(1000000);

enum { ISO_TEXT_SIZE = 64 };

/* A signal of the file that becomes a channel. */
struct edf_source {
    size_t row;
    struct document_channel *channel;
    int dmin;
    int dmax;
    size_t end; /* one after the last sample placed so far */
};

struct edf_reader {
    struct edf_layout layout;
    struct arena *arena;
    struct fault_list *faults;
    const struct edf_options *options;
    struct edf_report *report;
    struct recording_document *document;
    size_t source_count;
    struct edf_source *sources;
    int64_t first_onset_ns; /* of the first record: the recording's start */
    bool is_misplaced;      /* a record stands where it cannot: one fault is enough */
    bool has_too_many_events;
};

/* ---- labels ---- */

/* Length of a text without the blanks at its end. */
static size_t trimmed_length(const char *text)
{
    size_t length = strlen(text);
    while (length > 0 && text[length - 1] == ' ') {
        length--;
    }
    return length;
}

static bool is_same_label(const char *one, const char *other)
{
    one += strspn(one, " ");
    other += strspn(other, " ");
    size_t length = trimmed_length(one);
    return trimmed_length(other) == length && strncasecmp(one, other, length) == 0;
}

/* The caller's word on a label, or NULL. */
static const struct edf_label *option_of(const struct edf_options *options, const char *label)
{
    for (size_t i = 0; i < options->label_count; i++) {
        if (is_same_label(options->labels[i].label, label)) {
            return &options->labels[i];
        }
    }
    return NULL;
}

static void check_option(const struct edf_reader *reader, size_t index)
{
    const struct edf_label *option = &reader->options->labels[index];
    const char *pointer = document_item_pointer(reader->faults, "/labels", index);
    if (option_of(reader->options, option->label) != option) {
        fault_add(reader->faults, pointer, "The label \"%s\" is given twice.", option->label);
        return;
    }
    for (size_t i = 0; i < reader->layout.row_count; i++) {
        if (is_same_label(option->label, reader->layout.rows[i].label)) {
            return;
        }
    }
    fault_add(reader->faults, pointer, "No signal of the file has the label \"%s\".",
              option->label);
}

static void add_source(struct edf_reader *reader, size_t row, enum signal_kind signal)
{
    for (size_t i = 0; i < reader->source_count; i++) {
        if (reader->sources[i].channel->signal == signal) {
            edf_layout_fault(&reader->layout, EDF_LABEL, row,
                             arena_printf(reader->arena,
                                          "signal %zu (\"%s\") carries %s already; map one of them "
                                          "to another signal, or declare it unwanted.",
                                          reader->sources[i].row,
                                          reader->layout.rows[reader->sources[i].row].label,
                                          signal_name(signal)));
            return;
        }
    }
    struct document_channel *channel = &reader->document->channels[reader->source_count];
    channel->signal = signal;
    reader->sources[reader->source_count++] = (struct edf_source){.row = row, .channel = channel};
}

static void map_row(struct edf_reader *reader, size_t row)
{
    const char *label = reader->layout.rows[row].label;
    struct edf_report_signal *report = &reader->report->signals[row];
    const struct edf_label *option = option_of(reader->options, label);
    enum signal_kind signal = option != NULL ? option->signal : edf_names_signal(label);
    report->signal = signal;
    report->is_wanted = signal != SIGNAL_NONE;
    if (signal != SIGNAL_NONE) {
        add_source(reader, row, signal);
    } else if (option == NULL) {
        edf_layout_fault(&reader->layout, EDF_LABEL, row,
                         "no signal is known by this label: map it to one, or declare it "
                         "unwanted (labels).");
    }
}

/* The report's rows, and a source for each wanted signal. A signal is there once at most, so that
 * there are never more sources than signals. */
static void map_rows(struct edf_reader *reader)
{
    struct edf_report *report = reader->report;
    report->signal_count = reader->layout.row_count;
    report->signals = arena_array(reader->arena, report->signal_count, sizeof *report->signals);
    reader->document->channels =
        arena_array(reader->arena, SIGNAL_COUNT, sizeof *reader->document->channels);
    reader->sources = arena_array(reader->arena, SIGNAL_COUNT, sizeof *reader->sources);
    size_t faults_before = document_fault_total(reader->faults);
    size_t annotations = 0;
    for (size_t i = 0; i < report->signal_count; i++) {
        const struct edf_row *row = &reader->layout.rows[i];
        report->signals[i] = (struct edf_report_signal){
            .label = row->label,
            .is_annotations = row->is_annotations,
            .signal = SIGNAL_NONE,
            .dimension = edf_layout_text(&reader->layout, EDF_PHYSICAL_DIMENSION, i)};
        if (row->is_annotations) {
            annotations++;
        } else {
            map_row(reader, i);
        }
    }
    for (size_t i = 0; i < reader->options->label_count; i++) {
        check_option(reader, i);
    }
    if (reader->source_count == 0 && annotations < report->signal_count &&
        document_fault_total(reader->faults) == faults_before) {
        fault_add(reader->faults, "/signals", "Every signal is declared unwanted.");
    }
    reader->document->channel_count = reader->source_count;
}

/* ---- what a code means ---- */

static void read_unit(struct edf_reader *reader, const struct edf_source *source)
{
    struct edf_report_signal *report = &reader->report->signals[source->row];
    struct document_channel *channel = source->channel;
    report->unit = edf_names_unit(report->dimension);
    channel->unit = report->unit == NULL ? "" : report->unit;
    if (report->unit == NULL ||
        !units_factor(report->unit, signal_unit(channel->signal), &channel->to_canonical)) {
        edf_layout_fault(&reader->layout, EDF_PHYSICAL_DIMENSION, source->row,
                         arena_printf(reader->arena, "must be a unit that fits %s: %s.",
                                      signal_name(channel->signal),
                                      edf_names_dimensions_for(channel->signal, reader->arena)));
    }
}

static bool read_physical(const struct edf_reader *reader, enum edf_field field, size_t row,
                          struct edf_decimal *ret_number)
{
    if (edf_decimal_parse(edf_layout_text(&reader->layout, field, row), ret_number) &&
        fabs(ret_number->value) <= LIMIT_SAMPLE_MAGNITUDE) {
        return true;
    }
    edf_layout_fault(&reader->layout, field, row,
                     arena_printf(reader->arena, "must be a number between %.15g and %.15g.",
                                  -LIMIT_SAMPLE_MAGNITUDE, LIMIT_SAMPLE_MAGNITUDE));
    return false;
}

static bool read_digital(const struct edf_reader *reader, enum edf_field field, size_t row,
                         int *ret_code)
{
    int64_t code = 0;
    if (edf_integer_parse(edf_layout_text(&reader->layout, field, row), &code) &&
        code >= INT16_MIN && code <= INT16_MAX) {
        *ret_code = (int)code;
        return true;
    }
    edf_layout_fault(&reader->layout, field, row,
                     arena_printf(reader->arena, "must be a whole number between %d and %d.",
                                  INT16_MIN, INT16_MAX));
    return false;
}

static void read_scaling(struct edf_reader *reader, struct edf_source *source)
{
    struct edf_decimal pmin = {0, 0, 0.0};
    struct edf_decimal pmax = {0, 0, 0.0};
    bool is_sound = read_physical(reader, EDF_PHYSICAL_MINIMUM, source->row, &pmin);
    is_sound &= read_physical(reader, EDF_PHYSICAL_MAXIMUM, source->row, &pmax);
    if (is_sound && !islessgreater(pmin.value, pmax.value)) {
        edf_layout_fault(&reader->layout, EDF_PHYSICAL_MAXIMUM, source->row,
                         "must differ from the physical minimum.");
        is_sound = false;
    }
    bool is_digital = read_digital(reader, EDF_DIGITAL_MINIMUM, source->row, &source->dmin);
    is_digital &= read_digital(reader, EDF_DIGITAL_MAXIMUM, source->row, &source->dmax);
    if (is_digital && source->dmin >= source->dmax) {
        edf_layout_fault(&reader->layout, EDF_DIGITAL_MAXIMUM, source->row,
                         arena_printf(reader->arena,
                                      "must be greater than the digital minimum, which is %d.",
                                      source->dmin));
        is_digital = false;
    }
    if (!is_sound || !is_digital) {
        return;
    }
    struct edf_scaling scaling = edf_scaling_of(&pmin, &pmax, source->dmin, source->dmax);
    if (!(fabs(scaling.scale) > 0.0)) {
        edf_layout_fault(&reader->layout, EDF_PHYSICAL_MAXIMUM, source->row,
                         "is too close to the physical minimum.");
    }
    source->channel->samples.scale = scaling.scale;
    source->channel->samples.offset = scaling.offset;
    reader->report->signals[source->row].scale = scaling.scale;
    reader->report->signals[source->row].offset = scaling.offset;
}

static void read_rate(struct edf_reader *reader, const struct edf_source *source)
{
    size_t samples = reader->layout.rows[source->row].sample_count;
    if (samples == 0 || reader->layout.record_ns == 0) {
        return; /* a fault already */
    }
    double rate_hz = edf_rate_hz(samples, &reader->layout.duration);
    if (rate_hz > LIMIT_RATE_HZ) {
        edf_layout_fault(&reader->layout, EDF_SAMPLES_PER_RECORD, source->row,
                         arena_printf(reader->arena,
                                      "that is %.15g samples a second, and at most %.15g are "
                                      "taken.",
                                      rate_hz, LIMIT_RATE_HZ));
    }
    source->channel->rate_hz = rate_hz;
    reader->report->signals[source->row].rate_hz = rate_hz;
}

/* ---- start ---- */

/* Reads `count` digits; -1 when there is anything else. */
static int digits_at(const char *text, size_t count)
{
    int number = 0;
    for (size_t i = 0; i < count; i++) {
        if (text[i] < '0' || text[i] > '9') {
            return -1;
        }
        number = number * 10 + (text[i] - '0');
    }
    return number;
}

/* "dd-MMM-yyyy" after "Startdate " in EDF+'s recording field, as "yyyy-mm-dd"; false when there is
 * no date. It goes before the header's own, whose year has two digits. */
static bool long_date(const struct edf_reader *reader, char iso[ISO_TEXT_SIZE])
{
    static const char *const months[] = {"JAN", "FEB", "MAR", "APR", "MAY", "JUN",
                                         "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"};
    static const char word[] = "Startdate ";
    const char *text = edf_layout_text(&reader->layout, EDF_RECORDING, 0);
    if (reader->layout.kind == EDF_KIND_PLAIN || strncmp(text, word, sizeof word - 1) != 0) {
        return false;
    }
    const char *date = text + sizeof word - 1;
    size_t length = strcspn(date, " ");
    if (length == 1 && *date == 'X') {
        return false;
    }
    for (int month = 0; length == 11 && month < 12; month++) {
        if (strncasecmp(date + 3, months[month], 3) == 0 && date[2] == '-' && date[6] == '-' &&
            digits_at(date, 2) > 0 && digits_at(date + 7, 4) > 0) {
            (void)snprintf(iso, ISO_TEXT_SIZE, "%04d-%02d-%02d", digits_at(date + 7, 4), month + 1,
                           digits_at(date, 2));
            return true;
        }
    }
    edf_layout_fault(&reader->layout, EDF_RECORDING, 0,
                     "must begin with Startdate and a date such as 02-MAR-2026, or X.");
    return false;
}

/* "dd.mm.yy" as "yyyy-mm-dd": 85 to 99 are of the last century, after EDF+. */
static bool short_date(const char *text, char iso[ISO_TEXT_SIZE])
{
    if (strlen(text) != 8 || text[2] != '.' || text[5] != '.') {
        return false;
    }
    int day = digits_at(text, 2);
    int month = digits_at(text + 3, 2);
    int year = digits_at(text + 6, 2);
    if (day < 0 || month < 0 || year < 0) {
        return false;
    }
    (void)snprintf(iso, ISO_TEXT_SIZE, "%04d-%02d-%02d", year >= 85 ? 1900 + year : 2000 + year,
                   month, day);
    return clock_is_date(iso);
}

/* The date of the start; NULL after a fault. */
static const char *read_date(const struct edf_reader *reader)
{
    char from_recording[ISO_TEXT_SIZE] = "";
    char from_header[ISO_TEXT_SIZE] = "";
    const char *text = edf_layout_text(&reader->layout, EDF_STARTDATE, 0);
    bool has_long = long_date(reader, from_recording);
    bool has_short = short_date(text, from_header);
    if (has_long && !clock_is_date(from_recording)) {
        edf_layout_fault(&reader->layout, EDF_RECORDING, 0,
                         "its Startdate is no day of a calendar.");
        return NULL;
    }
    /* EDF+ writes the letters yy for years that two digits cannot tell. */
    bool is_open = has_long && strlen(text) == 8 && strcmp(text + 6, "yy") == 0;
    if (!has_short && !is_open) {
        edf_layout_fault(&reader->layout, EDF_STARTDATE, 0,
                         "must be a date dd.mm.yy, such as 02.03.26.");
        return NULL;
    }
    if (has_long && has_short && strcmp(from_recording, from_header) != 0) {
        edf_layout_fault(&reader->layout, EDF_STARTDATE, 0,
                         "must be the same day as Startdate in the recording field.");
        return NULL;
    }
    return arena_strdup(reader->arena, has_long ? from_recording : from_header);
}

/* The time of the start, "hh:mm:ss"; NULL after a fault. */
static const char *read_time(const struct edf_reader *reader)
{
    const char *text = edf_layout_text(&reader->layout, EDF_STARTTIME, 0);
    if (strlen(text) == 8 && text[2] == '.' && text[5] == '.') {
        int hour = digits_at(text, 2);
        int minute = digits_at(text + 3, 2);
        int second = digits_at(text + 6, 2);
        if (hour >= 0 && hour <= 23 && minute >= 0 && minute <= 59 && second >= 0 && second <= 59) {
            return arena_printf(reader->arena, "%02d:%02d:%02d", hour, minute, second);
        }
    }
    edf_layout_fault(&reader->layout, EDF_STARTTIME, 0,
                     "must be a time hh.mm.ss, such as 09.31.05.");
    return NULL;
}

/* The header's local time as if it were UTC; false after a fault. */
static bool read_local_us(struct edf_reader *reader, int64_t *ret_us)
{
    const char *date = read_date(reader);
    const char *time = read_time(reader);
    if (date == NULL || time == NULL) {
        return false;
    }
    reader->report->start_local = arena_printf(reader->arena, "%sT%s", date, time);
    return clock_parse(arena_printf(reader->arena, "%sT%sZ", date, time), ret_us);
}

static void read_start(struct edf_reader *reader)
{
    const struct edf_options *options = reader->options;
    struct fault_list ignored;
    struct fault_list *faults = reader->faults;
    int64_t local_us = 0;
    if (options->has_start) {
        /* What the header says is only for the report then: files without identity lack it. */
        fault_list_init(&ignored, reader->arena);
        reader->layout.faults = &ignored;
        (void)read_local_us(reader, &local_us);
        reader->layout.faults = faults;
        reader->document->started_at_us = options->started_at_us;
        return;
    }
    bool has_local = read_local_us(reader, &local_us);
    if (!options->has_utc_offset) {
        edf_layout_fault(&reader->layout, EDF_STARTTIME, 0,
                         "this is local time, and EDF does not say of which zone: add its offset "
                         "from UTC in minutes (utc_offset_min), or the start with its offset "
                         "(started_at).");
        return;
    }
    if (options->utc_offset_min < -LIMIT_UTC_OFFSET_MIN ||
        options->utc_offset_min > LIMIT_UTC_OFFSET_MIN) {
        fault_add(faults, "/utc_offset", "Must be between %d and %d minutes.",
                  -LIMIT_UTC_OFFSET_MIN, LIMIT_UTC_OFFSET_MIN);
    }
    int64_t start_us = local_us - options->utc_offset_min * US_PER_MINUTE;
    if (has_local && (start_us < LIMIT_START_EARLIEST_US || start_us >= LIMIT_START_LATEST_US)) {
        edf_layout_fault(&reader->layout, EDF_STARTDATE, 0,
                         "must lie within the years 1990 to 2100.");
    }
    reader->document->started_at_us = start_us;
}

/* Whether the patient field says more than that there is nothing to say ("X X X X"). */
static bool names_patient(const struct edf_layout *layout)
{
    const char *text = edf_layout_text(layout, EDF_PATIENT, 0);
    return text[strspn(text, "X ")] != '\0';
}

/* ---- records ---- */

static const char *record_pointer(const struct edf_reader *reader, size_t record)
{
    return document_item_pointer(reader->faults, "/records", record);
}

static void add_event(struct edf_reader *reader, size_t record, const struct edf_tal *tal,
                      const char *text, size_t length)
{
    struct recording_document *document = reader->document;
    struct document_event event = {.code = "", .note = ""};
    const char *fault = NULL;
    if (document->event_count == LIMIT_EVENTS) {
        reader->has_too_many_events = true;
        return;
    }
    if (!edf_event_from_text(reader->arena, text, length, tal->duration_ns, &event, &fault)) {
        fault_add(reader->faults, record_pointer(reader, record), "%s", fault);
        return;
    }
    event.at_s = (double)(tal->onset_ns - reader->first_onset_ns) / (double)EDF_NS_PER_S;
    if (document->events == NULL) {
        document->events = arena_array(reader->arena, LIMIT_EVENTS, sizeof *document->events);
    }
    document->events[document->event_count++] = event;
}

/* Reads one annotation signal of a record. In the record's first one, the first list begins with an
 * empty text and keeps the record's time: *ret_onset_ns. */
static bool read_annotations(struct edf_reader *reader, size_t record, size_t row, bool keeps_time,
                             int64_t *ret_onset_ns)
{
    struct edf_tal_cursor cursor = {
        .bytes = edf_layout_record(&reader->layout, record) + reader->layout.rows[row].offset,
        .length = reader->layout.rows[row].sample_count * EDF_SAMPLE_BYTES};
    struct edf_tal tal = {0};
    const char *fault = NULL;
    bool has_time = false;
    while (!reader->has_too_many_events && edf_tal_next(&cursor, &tal, &fault)) {
        const char *text = NULL;
        size_t length = 0;
        size_t at = 0;
        bool is_first = keeps_time && !has_time;
        if (is_first && (!edf_tal_text(&tal, &at, &text, &length) || length > 0)) {
            break;
        }
        if (is_first) {
            has_time = true;
            *ret_onset_ns = tal.onset_ns;
            reader->first_onset_ns = record == 0 ? tal.onset_ns : reader->first_onset_ns;
        }
        while (edf_tal_text(&tal, &at, &text, &length)) {
            if (length > 0) {
                add_event(reader, record, &tal, text, length);
            }
        }
    }
    if (fault == NULL && keeps_time && !has_time) {
        fault = "The first annotation must have an empty text: it says when the record begins.";
    }
    if (fault != NULL) {
        fault_add(reader->faults, record_pointer(reader, record), "Signal %zu: %s", row, fault);
    }
    return fault == NULL;
}

/* When a record begins, and all its events; false after a fault. */
static bool read_record(struct edf_reader *reader, size_t record, int64_t *ret_onset_ns)
{
    bool is_sound = true;
    bool keeps_time = true;
    for (size_t row = 0; row < reader->layout.row_count; row++) {
        if (reader->layout.rows[row].is_annotations) {
            is_sound &= read_annotations(reader, record, row, keeps_time, ret_onset_ns);
            keeps_time = false;
        }
    }
    return is_sound;
}

/* The number of a channel's sample at which a record begins. */
static double first_sample(const struct edf_layout *layout, const struct edf_source *source,
                           int64_t after_ns)
{
    return (double)after_ns * (double)layout->rows[source->row].sample_count /
           (double)layout->record_ns;
}

static void misplaced(struct edf_reader *reader, size_t record, const char *sentence)
{
    fault_add(reader->faults, record_pointer(reader, record), "%s", sentence);
    reader->is_misplaced = true;
}

/* EDF+C: the record must begin where the one before ends. */
static void check_continuous(struct edf_reader *reader, size_t record, int64_t after_ns)
{
    double fastest_hz = 0.0;
    for (size_t i = 0; i < reader->source_count; i++) {
        fastest_hz = fmax(fastest_hz, reader->sources[i].channel->rate_hz);
    }
    double tolerance_s =
        fastest_hz > 0.0 ? fmax(CONTINUOUS_TOLERANCE_SAMPLES / fastest_hz, CONTINUOUS_TOLERANCE_S)
                         : CONTINUOUS_TOLERANCE_S;
    double expected_s = (double)record * reader->layout.duration.value;
    double found_s = (double)after_ns / (double)EDF_NS_PER_S;
    if (fabs(found_s - expected_s) > tolerance_s) {
        misplaced(reader, record,
                  arena_printf(reader->arena,
                               "The record begins %.9g s after the first one, but in EDF+C it must "
                               "begin %.9g s after it; a file with gaps is EDF+D.",
                               found_s, expected_s));
    }
}

/* EDF+D: the record goes where its onset says. */
static void place(struct edf_reader *reader, size_t record, int64_t after_ns)
{
    if (after_ns + reader->layout.record_ns > (int64_t)LIMIT_DURATION_S * EDF_NS_PER_S) {
        misplaced(reader, record,
                  arena_printf(reader->arena, "The record ends more than %.15g s after the start.",
                               LIMIT_DURATION_S));
        return;
    }
    for (size_t i = 0; i < reader->source_count; i++) {
        struct edf_source *source = &reader->sources[i];
        double exact = first_sample(&reader->layout, source, after_ns);
        double first = rint(exact);
        if (after_ns < 0 || first < (double)source->end) {
            misplaced(reader, record, "The record begins before the one before it ends.");
            return;
        }
        if (fabs(exact - first) > GRID_TOLERANCE_SAMPLES) {
            misplaced(reader, record,
                      arena_printf(reader->arena,
                                   "The record begins %.9g s after the first one, which is %.3g "
                                   "samples off the grid of signal %zu.",
                                   (double)after_ns / (double)EDF_NS_PER_S, fabs(exact - first),
                                   source->row));
            return;
        }
        source->end = (size_t)first + reader->layout.rows[source->row].sample_count;
    }
}

/* Looks at every record once: when it begins, its events, where its samples will go. */
static void walk_records(struct edf_reader *reader)
{
    const struct edf_layout *layout = &reader->layout;
    for (size_t record = 0; layout->kind != EDF_KIND_PLAIN && record < layout->record_count &&
                            reader->faults->count < FAULT_LIMIT && !reader->has_too_many_events;
         record++) {
        int64_t onset_ns = 0;
        if (!read_record(reader, record, &onset_ns)) {
            continue;
        }
        if (record == 0 && onset_ns < 0) {
            misplaced(reader, record, "The first record must not begin before the start.");
        }
        if (reader->is_misplaced) {
            continue;
        }
        if (layout->kind == EDF_KIND_CONTINUOUS) {
            check_continuous(reader, record, onset_ns - reader->first_onset_ns);
        } else {
            place(reader, record, onset_ns - reader->first_onset_ns);
        }
    }
    for (size_t i = 0; i < reader->source_count && layout->kind != EDF_KIND_DISCONTINUOUS; i++) {
        reader->sources[i].end =
            layout->record_count * layout->rows[reader->sources[i].row].sample_count;
    }
    if (reader->has_too_many_events) {
        fault_add(reader->faults, "/signals", "At most %d annotations; these are more.",
                  LIMIT_EVENTS);
    }
}

/* ---- samples ---- */

static void check_counts(const struct edf_reader *reader)
{
    size_t total = 0;
    size_t faults_before = document_fault_total(reader->faults);
    for (size_t i = 0; i < reader->source_count; i++) {
        const struct edf_source *source = &reader->sources[i];
        if (source->end > LIMIT_CHANNEL_SAMPLES) {
            edf_layout_fault(&reader->layout, EDF_SAMPLES_PER_RECORD, source->row,
                             arena_printf(reader->arena,
                                          "at most %zu samples in a channel, gaps included; these "
                                          "are %zu.",
                                          LIMIT_CHANNEL_SAMPLES, source->end));
        }
        total += source->end;
    }
    if (total > LIMIT_RECORDING_SAMPLES && document_fault_total(reader->faults) == faults_before) {
        fault_add(reader->faults, "/signals",
                  "At most %zu samples in all channels of a recording, gaps included; these are "
                  "%zu.",
                  LIMIT_RECORDING_SAMPLES, total);
    }
}

static int code_at(const uint8_t *bytes)
{
    int code = bytes[0] | bytes[1] << 8;
    return code > INT16_MAX ? code - 65536 : code;
}

/* Whether the code that means "missing" in SAMPLES_INT16 is a value here. */
static bool holds_least_code(const struct edf_layout *layout, const struct edf_source *source)
{
    const struct edf_row *row = &layout->rows[source->row];
    for (size_t record = 0; source->dmin == INT16_MIN && record < layout->record_count; record++) {
        const uint8_t *bytes = edf_layout_record(layout, record) + row->offset;
        for (size_t i = 0; i < row->sample_count; i++) {
            if (code_at(bytes + i * EDF_SAMPLE_BYTES) == INT16_MIN) {
                return true;
            }
        }
    }
    return false;
}

/* Where a record's samples go in a channel. Its onset was sound when it was looked at before. */
static size_t placed_at(const struct edf_reader *reader, const struct edf_source *source,
                        size_t record)
{
    const struct edf_layout *layout = &reader->layout;
    if (layout->kind != EDF_KIND_DISCONTINUOUS) {
        return record * layout->rows[source->row].sample_count;
    }
    size_t row = 0;
    while (!layout->rows[row].is_annotations) {
        row++;
    }
    struct edf_tal_cursor cursor = {.bytes = edf_layout_record(layout, record) +
                                             layout->rows[row].offset,
                                    .length = layout->rows[row].sample_count * EDF_SAMPLE_BYTES};
    struct edf_tal tal = {0};
    const char *fault = NULL;
    (void)!edf_tal_next(&cursor, &tal, &fault);
    return (size_t)rint(first_sample(layout, source, tal.onset_ns - reader->first_onset_ns));
}

static void read_samples(struct edf_reader *reader, const struct edf_source *source)
{
    const struct edf_layout *layout = &reader->layout;
    const struct edf_row *row = &layout->rows[source->row];
    struct edf_report_signal *report = &reader->report->signals[source->row];
    struct samples *samples = &source->channel->samples;
    bool is_wide = holds_least_code(layout, source);
    int32_t *wide = is_wide ? arena_array(reader->arena, source->end, sizeof *wide) : NULL;
    int16_t *narrow = is_wide ? NULL : arena_array(reader->arena, source->end, sizeof *narrow);
    for (size_t i = 0; i < source->end; i++) {
        if (is_wide) {
            wide[i] = INT32_MIN;
        } else {
            narrow[i] = INT16_MIN;
        }
    }
    for (size_t record = 0; record < layout->record_count; record++) {
        const uint8_t *bytes = edf_layout_record(layout, record) + row->offset;
        size_t first = placed_at(reader, source, record);
        for (size_t i = 0; i < row->sample_count; i++) {
            int code = code_at(bytes + i * EDF_SAMPLE_BYTES);
            if (code < source->dmin || code > source->dmax) {
                report->out_of_range++;
            } else if (is_wide) {
                wide[first + i] = code;
            } else {
                narrow[first + i] = (int16_t)code;
            }
        }
    }
    report->sample_count = source->end;
    report->in_gaps = source->end - layout->record_count * row->sample_count;
    samples->encoding = is_wide ? SAMPLES_INT32 : SAMPLES_INT16;
    samples->count = source->end;
    samples->missing = report->out_of_range + report->in_gaps;
    samples->codes = is_wide ? (const void *)wide : (const void *)narrow;
}

static void check_event_times(const struct edf_reader *reader)
{
    double latest_s = 0.0;
    for (size_t i = 0; i < reader->source_count; i++) {
        const struct edf_source *source = &reader->sources[i];
        if (source->channel->rate_hz > 0.0) {
            latest_s = fmax(latest_s, (double)source->end / source->channel->rate_hz);
        }
    }
    latest_s += LIMIT_EVENT_SLACK_S;
    for (size_t i = 0; i < reader->document->event_count; i++) {
        double at_s = reader->document->events[i].at_s;
        if (at_s < 0.0 || at_s > latest_s) {
            fault_add(reader->faults, document_item_pointer(reader->faults, "/annotations", i),
                      "Stands %.9g s after the first sample; must be between 0 and %.15g.", at_s,
                      latest_s);
        }
    }
}

static void read_channels(struct edf_reader *reader)
{
    map_rows(reader);
    for (size_t i = 0; i < reader->source_count; i++) {
        read_unit(reader, &reader->sources[i]);
        read_scaling(reader, &reader->sources[i]);
        read_rate(reader, &reader->sources[i]);
    }
}

static void read_records(struct edf_reader *reader)
{
    walk_records(reader);
    check_counts(reader);
    if (!reader->is_misplaced && reader->source_count > 0) {
        check_event_times(reader);
    }
}

enum edf_read_outcome edf_read(struct arena *arena, const void *body, size_t length,
                               const struct edf_options *options,
                               const struct recording_document **ret_document,
                               const struct edf_report **ret_report, struct fault_list *faults)
{
    size_t faults_before = document_fault_total(faults);
    struct edf_reader reader = {.arena = arena, .faults = faults, .options = options};
    *ret_report = NULL;
    if (edf_layout_read(arena, body, length, faults, &reader.layout) == EDF_READ_MALFORMED) {
        return EDF_READ_MALFORMED;
    }
    struct recording_document *document = arena_alloc(arena, sizeof *document);
    reader.document = document;
    document->type = options->type;
    document_conditions_read(NULL, "/conditions", arena, faults, &document->conditions);
    reader.report = arena_alloc(arena, sizeof *reader.report);
    *reader.report = (struct edf_report){.kind = reader.layout.kind,
                                         .start_local = "",
                                         .has_patient = names_patient(&reader.layout),
                                         .record_count = reader.layout.record_count,
                                         .record_duration_s = reader.layout.duration.value};
    read_start(&reader);
    if (reader.layout.row_count > 0) {
        read_channels(&reader);
        *ret_report = reader.report;
    }
    if (reader.layout.has_records) {
        read_records(&reader);
    }
    reader.report->event_count = document->event_count;
    if (document_fault_total(faults) > faults_before) {
        return EDF_READ_INVALID;
    }
    for (size_t i = 0; i < reader.source_count; i++) {
        read_samples(&reader, &reader.sources[i]);
    }
    if (!options->has_start) {
        document->started_at_us += reader.first_onset_ns / 1000;
    }
    if (document->event_count > 0) {
        document->events = document_events_sort(arena, document->events, document->event_count);
    }
    *ret_document = document;
    return EDF_READ_OK;
}
