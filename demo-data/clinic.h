/* The invented clinic: its rooms, staff, patients and visits. Nobody here exists. */
#ifndef DEMO_DATA_CLINIC_H
#define DEMO_DATA_CLINIC_H

#include "plan.h"

#include <stdbool.h>
#include <stddef.h>

#define CLINIC_NAME "Tarn Valley Continence Clinic"
#define CLINIC_NOTE                                                                                \
    "Every person, visit and measurement in this folder is invented by a program; any likeness "   \
    "to "                                                                                          \
    "a real person is chance. For demonstration only."

enum { CLINIC_RECORDINGS_MAX = 3 };

/* An account that the loader makes. */
struct clinic_user {
    const char *username;
    const char *display_name;
    const char *role;
};

/* A limit of the analysis that the clinic set for its own equipment. */
struct clinic_choice {
    const char *code;
    double value;
};

struct clinic_patient {
    const char *family_name;
    const char *given_name;
    const char *sex; /* FHIR administrative gender */
    int age_years;   /* on the day for which the demo is made */
    double weight_kg;
};

struct clinic_visit {
    size_t patient;
    int days_ago; /* 0: on the day for which the demo is made */
    const char *room;
    int minutes; /* wall clock, since midnight */
    const char *operator_name;
    const char *catheters;  /* "" for a free flow */
    const char *diary;      /* history.diary, or "" */
    const char *pad_test;   /* history.pad_test, or "" */
    const char *medication; /* history.medication, or "" */
    const struct plan *recordings[CLINIC_RECORDINGS_MAX];
};

/* Rows of the tables; NULL past the last. */
const char *clinic_room(size_t index);
const struct clinic_user *clinic_user(size_t index);
const struct clinic_choice *clinic_choice(size_t index);
const struct clinic_patient *clinic_patient(size_t index);
const struct clinic_visit *clinic_visit(size_t index);

#endif
