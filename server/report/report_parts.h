/* The parts of a report, in the order in which they stand. Private to report/. */
#ifndef REPORT_REPORT_PARTS_H
#define REPORT_REPORT_PARTS_H

#include "report/report.h"

/* What every part needs. */
struct report_maker {
    const struct report *report;
    struct arena *arena;
    struct document *document;
    const json_t *const *analyses; /* by recording; NULL where there is no readable one */
    bool is_signed;                /* final or amended */
    bool is_cancelled;
    bool is_child;
    double age_years; /* NaN: not known */
};

/* Whom it is about, when, where, by whom. */
void report_identification(const struct report_maker *maker);

/* What the study's status means, and who signed. */
void report_status(const struct report_maker *maker);

/* What clinicians concluded; without that, what rules drafted. */
void report_interpretation(const struct report_maker *maker);

/* The main numbers and classes of every recording. */
void report_brief(const struct report_maker *maker);

/* History, equipment, conditions of the whole study, and what is not stated. */
void report_history(const struct report_maker *maker);
void report_technique(const struct report_maker *maker);

/* Recording `index`: conditions, figures, numbers, quality. */
void report_recording_part(const struct report_maker *maker, size_t index);

/* The sections that recording `index` has. */
void report_sections(const struct report_maker *maker, size_t index);

/* The figures of a recording that belong to a section. */
void report_figures(const struct report_maker *maker, size_t index, const char *section);

/* Classes with their rules, signal quality, and what could not be computed. */
void report_remarks(const struct report_maker *maker, const json_t *analysis);

/* A class, with doubts: "ics obstruction: equivocal". */
void report_class_words(const json_t *classification, struct text *out);

/* The limits in use, as the clinic chose them or as they are by default, as a sentence after
 * others; nothing for none. */
void report_limits(json_t *limits, struct text *out);

/* Every signature, when there is more to say than report_status() says. */
void report_signatures(const struct report_maker *maker);

/* Definitions, sources and software. */
void report_methods(const struct report_maker *maker);

/* "Pressure-flow study"; recordings are numbered from 1 where a study has several:
 * "2. Pressure-flow study". */
const char *report_type_label(enum recording_type type);
const char *report_recording_name(const struct report_maker *maker, size_t index);

/* The reporting line of a free flow after the ICS, "VOID: 18/340/40": maximum flow rate, voided
 * volume, post-void residual, without units; NULL when there is neither flow nor volume. Source:
 * GUP2002 (Neurourol Urodyn 2002;21:261-274), from memory. */
const char *report_void_line(const struct report_maker *maker, const json_t *analysis);

/* The conditions of a recording; false when they cannot be read. */
bool report_conditions(const struct report_maker *maker, size_t index,
                       struct document_conditions *ret_conditions);

/* A fact in our own words, or in a person's; nothing when there are none. */
void report_fact(const struct report_maker *maker, const char *term, const char *words);
void report_person_fact(const struct report_maker *maker, const char *term, const char *words);
void report_number_fact(const struct report_maker *maker, const char *term,
                        struct optional_number number, const char *ucum);

/* An empty text on the arena that holds what a paragraph may hold. */
struct text report_words(const struct report_maker *maker);

#endif
