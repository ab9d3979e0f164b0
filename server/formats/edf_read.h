/* An EDF or EDF+ file in, a recording document out, every fault named. What is read, and how, is
 * told in api-docs/edf.md. */
#ifndef FORMATS_EDF_READ_H
#define FORMATS_EDF_READ_H

#include "formats/recording_json.h"

/* What a label of the file means. */
struct edf_label {
    const char *label;       /* as in the file; capitals and blanks around it do not count */
    enum signal_kind signal; /* SIGNAL_NONE: not wanted, left out */
};

struct edf_options {
    enum recording_type type;
    const struct edf_label *labels; /* go before what the labels say by themselves */
    size_t label_count;
    /* EDF states local time without its offset from UTC: one of these two is needed. */
    bool has_start; /* then the header's own date and time may be anything */
    int64_t started_at_us;
    bool has_utc_offset;
    int utc_offset_min; /* of the clinic, at that date; east is positive */
};

enum edf_kind {
    EDF_KIND_PLAIN,
    EDF_KIND_CONTINUOUS,   /* EDF+C */
    EDF_KIND_DISCONTINUOUS /* EDF+D */
};

/* One row of the header, wanted or not. Numbers below `unit` are only there for wanted signals. */
struct edf_report_signal {
    const char *label; /* '?' for what is not ASCII */
    bool is_annotations;
    bool is_wanted;
    enum signal_kind signal; /* SIGNAL_NONE: not wanted, or not known */
    const char *dimension;
    const char *unit; /* UCUM, or NULL */
    double rate_hz;
    double scale; /* value = code * scale + offset */
    double offset;
    size_t sample_count;
    size_t out_of_range; /* codes outside the digital range: missing */
    size_t in_gaps;      /* samples that no data record holds: missing */
};

struct edf_report {
    enum edf_kind kind;
    const char
        *start_local; /* "2026-03-02T09:31:05", without its fraction; "" when it is no time */
    bool has_patient; /* the header names a patient; nothing of that is passed on */
    size_t record_count;
    double record_duration_s;
    size_t event_count;
    size_t signal_count;
    struct edf_report_signal *signals;
};

enum edf_read_outcome {
    EDF_READ_OK,
    EDF_READ_MALFORMED, /* not an EDF file at all: one fault says what it looks like */
    EDF_READ_INVALID    /* EDF, but broken, or not this recording: one or more faults */
};

/* Reads a file of `length` bytes. Faults have pointers such as "/signals/2/physical_minimum",
 * "/records/12" or "/labels/0" and say which bytes are meant and what stands there; the fields that
 * may name a person are never repeated.
 *
 * The document lives on the arena and is set only with EDF_READ_OK. *ret_report is set whenever the
 * rows of the header can be told apart, also beside faults, so that a caller can show which labels
 * there are; else NULL. Memory stays within what limits.h allows, whatever the header claims. */
MUST_CHECK enum edf_read_outcome edf_read(struct arena *arena, const void *body, size_t length,
                                          const struct edf_options *options,
                                          const struct recording_document **ret_document,
                                          const struct edf_report **ret_report,
                                          struct fault_list *faults);

#endif
