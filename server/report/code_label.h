/* The label with the code that leads from paper back to a study. */
#ifndef REPORT_CODE_LABEL_H
#define REPORT_CODE_LABEL_H

#include "drawing/canvas.h"

/* 60 by 30 mm. */
#define CODE_LABEL_WIDTH_PT  170.079
#define CODE_LABEL_HEIGHT_PT 85.039

/* Nothing on it says whose study it is. */
struct code_label {
    const char *address; /* what the code holds */
    const char *clinic_name;
    const char *date;     /* of the study: "2026-03-02" */
    const char *short_id; /* to tell papers apart */
};

/* A file of that form, on the arena. */
MUST_CHECK bool code_label_write(const struct code_label *label, enum canvas_form form,
                                 struct arena *arena, const unsigned char **ret_bytes,
                                 size_t *ret_length, struct error *reterr);

#endif
