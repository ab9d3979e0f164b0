/* Inside store/ only: naming the one patient whom a caller with open work may see without any. */
#ifndef STORE_PATIENT_NAME_H
#define STORE_PATIENT_NAME_H

#include "store/query.h"

/* A query that goes before those that are to see the patient, in the same transaction.
 * name  the id, or record number and birth date with a space between; "" names nobody */
void patient_name_query(struct query *query, const struct store *store, const char *name);

#endif
