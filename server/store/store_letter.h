/* What a clinic's letters are written from: templates, the letterhead, and what each study's letter
 * says and to whom. Every change adds a version; 0 is what is there before anybody has chosen. */
#ifndef STORE_STORE_LETTER_H
#define STORE_STORE_LETTER_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

/* ---- templates ---- */

struct letter_template_row {
    const char *name; /* "standard" */
    const char *language;
    int version;      /* from 1 without gaps */
    const char *body; /* NULL in lists */
    bool in_use;      /* offered for new letters */
    int64_t created_at_us;
};

/* The newest version of each, by name and language, without bodies. */
MUST_CHECK bool letter_template_list(struct store *store, struct arena *arena,
                                     struct letter_template_row **ret_items, size_t *ret_count,
                                     struct error *reterr);

/* The newest version; ERROR_NOT_FOUND. */
MUST_CHECK bool letter_template_get(struct store *store, struct arena *arena, const char *name,
                                    const char *language, struct letter_template_row *ret_row,
                                    struct error *reterr);

/* Makes version row->version + 1. ERROR_STALE: `row->version` is not the newest. */
MUST_CHECK bool letter_template_add(struct store *store, const struct letter_template_row *row,
                                    struct error *reterr);

/* ---- letterhead ---- */

struct letterhead {
    int version;
    const char *name;    /* NULL with version 0 */
    const char *address; /* JSON: an array of lines */
    const char *telephone;
    const char *language; /* of letters for which none was chosen; "en" with version 0 */
};

MUST_CHECK bool letterhead_load(struct store *store, struct arena *arena,
                                struct letterhead *ret_letterhead, struct error *reterr);

/* Makes version letterhead->version + 1. ERROR_STALE as above. */
MUST_CHECK bool letterhead_replace(struct store *store, const struct letterhead *letterhead,
                                   struct error *reterr);

/* ---- a study's letter ---- */

struct letter_settings {
    int version;
    const char *template_name;
    const char *language;
    const char *addressee_name; /* "": not known */
    const char *addressee_salutation;
    const char *addressee_address; /* JSON: an array of lines */
    const char *referrer_id;       /* the addressee's account; NULL: has none */
    const char *copies;            /* JSON: an array of names */
    const char *question;
    const char *remarks;
};

/* Version 0 has what the patient's last letter had, without question and remarks, or else empty
 * strings, "[]" and NULL. ERROR_NOT_FOUND: no such study. */
MUST_CHECK bool letter_settings_load(struct store *store, struct arena *arena, const char *study_id,
                                     struct letter_settings *ret_settings, struct error *reterr);

/* Makes version settings->version + 1. ERROR_STALE as above; ERROR_INVALID: referrer_id is no
 * account of a referrer. */
MUST_CHECK bool letter_settings_replace(struct store *store, const char *study_id,
                                        const struct letter_settings *settings,
                                        struct error *reterr);

/* ---- the day's letters ---- */

struct letter_filter {
    int64_t from_us;   /* visits from here; 0 does not filter */
    int64_t to_us;     /* to here, excluded; 0 does not filter */
    const char *state; /* NULL does not filter */
};

struct letter_row {
    const char *study_id;
    const char *patient_id;
    const char *patient_name; /* "Family, Given" */
    const char *patient_mrn;
    int64_t started_at_us;
    const char *status; /* of the study */
    const char *state;  /* to_write: nobody is named whom it goes to; ready; sent */
    const char *addressee_name;
    const char *referrer_id; /* or NULL */
    const char *language;    /* NULL: nothing is chosen */
    const char *way;         /* of the last dispatch of the newest signature; NULL: not sent */
    int64_t sent_at_us;
    const char *sent_by_name;
};

/* Letters of signed studies, newest visit first. */
MUST_CHECK bool letter_list(struct store *store, struct arena *arena,
                            const struct letter_filter *filter, const struct store_page *page,
                            struct letter_row **ret_items, size_t *ret_count,
                            const char **ret_next_cursor, struct error *reterr);

#endif
