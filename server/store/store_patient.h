/* Patients of the transaction's clinic. */
#ifndef STORE_STORE_PATIENT_H
#define STORE_STORE_PATIENT_H

#include "analysis/recording.h"
#include "store/store.h"

#include <stddef.h>

struct patient {
    const char *id;
    const char *mrn; /* medical record number, unique in the clinic */
    const char *family_name;
    const char *given_name;
    const char *birth_date; /* YYYY-MM-DD */
    const char *sex;        /* FHIR administrative gender: male, female, other, unknown */
    struct optional_number weight_kg;
    int version;
};

/* `patient->id` NULL: a new id is made. ERROR_CONFLICT when the MRN (detail "mrn") or the id
 * (detail "id") exists. */
MUST_CHECK bool patient_create(struct store *store, struct arena *arena,
                               const struct patient *patient, const char **ret_id,
                               struct error *reterr);
MUST_CHECK bool patient_get(struct store *store, struct arena *arena, const char *id,
                            struct patient *ret_patient, struct error *reterr);
/* Replaces; ERROR_STALE when the version is no longer patient->version. */
MUST_CHECK bool patient_update(struct store *store, const struct patient *patient,
                               struct error *reterr);

/* NULL members do not filter. `name` matches the beginning of family or given name, any case. With
 * both mrn and birth_date the patient is named: a transaction that reaches open work only finds
 * them although they have none. */
struct patient_filter {
    const char *mrn;
    const char *name;
    const char *birth_date;
};

/* Ordered by family name, given name, id. */
MUST_CHECK bool patient_list(struct store *store, struct arena *arena,
                             const struct patient_filter *filter, const struct store_page *page,
                             struct patient **ret_items, size_t *ret_count,
                             const char **ret_next_cursor, struct error *reterr);

#endif
