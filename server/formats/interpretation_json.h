/* The interpretation of a study as JSON: what a clinician writes, and what is stored of it. */
#ifndef FORMATS_INTERPRETATION_JSON_H
#define FORMATS_INTERPRETATION_JSON_H

#include "base/error.h"
#include "base/text.h"
#include "formats/json_reader.h"

#include <stddef.h>

enum {
    INTERPRETATION_FINDINGS_MOST = 100,
    INTERPRETATION_BASIS_MOST = 20, /* of a finding */
    INTERPRETATION_DIAGNOSES_MOST = 30,
    INTERPRETATION_PLAN_MOST = 30,
    INTERPRETATION_CODE_BYTES = 200,  /* section, code, basis; coding's members */
    INTERPRETATION_TEXT_BYTES = 4000, /* a finding, a diagnosis, a step of the plan, a comment */
    INTERPRETATION_CONCLUSION_BYTES = 20000
};

struct interpretation_finding {
    const char *section; /* of the analysis: "filling"; NULL: none */
    const char *code;    /* of the analysis's findings; NULL: the clinician's own */
    const char *text;
    size_t basis_count;
    const char **basis; /* "filling.involuntary_contractions" */
};

struct interpretation_diagnosis {
    const char *text;
    const char *system; /* of a coding: its URI; NULL: not coded, then the next ones too */
    const char *code;
    const char *display; /* NULL: not given */
};

/* Strings are NULL where they were not given. */
struct interpretation {
    const char *symptoms_reproduced; /* "yes", "no", "partly", "not_asked" */
    const char *symptoms_comment;
    enum patient_answer representative_free_flow; /* ANSWER_UNKNOWN: not said */
    enum patient_answer representative_voiding;
    size_t finding_count;
    struct interpretation_finding *findings;
    size_t diagnosis_count;
    struct interpretation_diagnosis *diagnoses;
    const char *conclusion; /* "" only in a draft */
    size_t plan_count;
    const char **plan;
    const char *complications;
    const char *comment;
};

/* Reads an object at `pointer` of a request. Faults for everything that is wrong with it. */
void interpretation_json_take(const json_t *value, const char *pointer, struct fault_list *faults,
                              struct interpretation *ret_interpretation);

/* Reads back what interpretation_json_write() wrote. */
MUST_CHECK bool interpretation_json_read(struct arena *arena, const char *json,
                                         struct interpretation *ret_interpretation,
                                         struct error *reterr);

/* Appends the object; what was not given is absent. */
void interpretation_json_write(const struct interpretation *interpretation, struct text *out);

/* Appends its members to an object that is open. */
void interpretation_json_write_members(const struct interpretation *interpretation,
                                       struct text *out);

#endif
