/* The report that a signature is given for. */
#ifndef API_SIGNED_REPORT_H
#define API_SIGNED_REPORT_H

#include "store/store.h"

#include <stddef.h>

/* Makes the PDF of a study as the open transaction sees it: signed already, with the newest
 * interpretation. On the arena. */
MUST_CHECK bool signed_report_make(struct store *store, struct arena *arena,
                                   const char *clinic_name, const char *study_id,
                                   const unsigned char **ret_bytes, size_t *ret_length,
                                   struct error *reterr);

#endif
