/* The limits of the analysis that the transaction's clinic has chosen. */
#ifndef STORE_STORE_CHOICES_H
#define STORE_STORE_CHOICES_H

#include "analysis/choices.h"
#include "store/store.h"

struct clinic_choices {
    int version;                    /* 0: nothing was ever chosen */
    struct analysis_choices chosen; /* not known: left at the standard */
    struct analysis_choices in_use;
};

MUST_CHECK bool clinic_choices_load(struct store *store, struct arena *arena,
                                    struct clinic_choices *ret_choices, struct error *reterr);

/* Makes `chosen` all that is chosen; ERROR_STALE when the version is no longer `version`. */
MUST_CHECK bool clinic_choices_replace(struct store *store, struct arena *arena, int version,
                                       const struct analysis_choices *chosen, struct error *reterr);

#endif
