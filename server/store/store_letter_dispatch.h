/* Letters that were sent, kept as they were, and batches of letters.
 *
 * A batch is worked on in steps, each a transaction: letter_batch_claim() locks a few letters that
 * still wait, each is sent or fails, and the commit ends them. A step that does not commit leaves
 * them waiting; two at once get different ones. */
#ifndef STORE_STORE_LETTER_DISPATCH_H
#define STORE_STORE_LETTER_DISPATCH_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

enum { LETTER_BATCH_ITEMS_MAX = 200 };

struct new_letter_dispatch {
    const char *study_id;
    int signature_number;
    int letter_version;
    const char *template_name;
    const char *language;
    int template_version; /* 0: the one that every clinic has */
    const char *way;      /* printed, handed_over, post, portal */
    const char *recipient;
    const char *referrer_id; /* with portal alone; else NULL */
    const char *batch_id;    /* or NULL */
    bool again;              /* also if it went there the same way already */
    const unsigned char *pdf;
    size_t pdf_length;
    const char *html;
    const char *plain;
};

/* ERROR_CONFLICT (detail "sent"): this signature's letter went to the recipient in this way, and
 * `again` is false. ERROR_CONFLICT otherwise: the study is not signed, or newer. */
MUST_CHECK bool letter_dispatch_add(struct store *store, struct arena *arena,
                                    const struct new_letter_dispatch *dispatch, const char **ret_id,
                                    struct error *reterr);

struct letter_dispatch {
    const char *id;
    const char *study_id;
    const char *patient_id;
    int signature_number;
    int letter_version;
    const char *template_name;
    const char *language;
    int template_version;
    const char *way;
    const char *recipient;
    int repetition;
    int64_t sent_at_us;
    const char *sent_by; /* account or token */
    const char *sent_by_name;
    const char *batch_id; /* or NULL */
    const char *sha256;   /* of the PDF, lower-case hexadecimal */
};

/* What was sent of a study, oldest first. */
MUST_CHECK bool letter_dispatch_list(struct store *store, struct arena *arena, const char *study_id,
                                     struct letter_dispatch **ret_items, size_t *ret_count,
                                     struct error *reterr);

struct stored_letter {
    struct letter_dispatch about;
    const unsigned char *pdf;
    size_t pdf_length;
    const char *html;
    const char *plain;
};

/* A letter as it was sent; ERROR_NOT_FOUND. */
MUST_CHECK bool letter_dispatch_get(struct store *store, struct arena *arena, const char *id,
                                    struct stored_letter *ret_letter, struct error *reterr);

/* The id of the letter that was sent last of what was signed last: what whoever referred is shown.
 * NULL when none was that the transaction reaches. An older letter may say what was amended since.
 */
MUST_CHECK bool letter_dispatch_find_shown(struct store *store, struct arena *arena,
                                           const char *study_id, const char **ret_id,
                                           struct error *reterr);

/* ---- batches ---- */

/* A batch of the letters of these studies, in their order, each once. ERROR_NOT_FOUND: one of them
 * is not there.
 * study_ids  JSON: an array of 1 to LETTER_BATCH_ITEMS_MAX ids */
MUST_CHECK bool letter_batch_create(struct store *store, struct arena *arena, const char *way,
                                    const char *study_ids, const char **ret_id,
                                    struct error *reterr);

struct letter_batch {
    const char *id;
    const char *way;
    int64_t created_at_us;
    const char *created_by_name;
    int count; /* of letters, and of them: */
    int waiting_count;
    int sent_count;
    int failed_count;
};

/* ERROR_NOT_FOUND. */
MUST_CHECK bool letter_batch_get(struct store *store, struct arena *arena, const char *id,
                                 struct letter_batch *ret_batch, struct error *reterr);

struct letter_batch_item {
    const char *study_id;
    const char *patient_id;
    const char *patient_name;
    const char *state;
    const char *reason; /* why it failed, or "" */
    const char *dispatch_id;
};

/* In the order of the batch. */
MUST_CHECK bool letter_batch_list(struct store *store, struct arena *arena, const char *id,
                                  struct letter_batch_item **ret_items, size_t *ret_count,
                                  struct error *reterr);

/* Locks the next letters that wait, at most `limit`, until the transaction ends. */
MUST_CHECK bool letter_batch_claim(struct store *store, struct arena *arena, const char *id,
                                   int limit, const char ***ret_study_ids, size_t *ret_count,
                                   struct error *reterr);

/* Ends a letter that was claimed: sent by `dispatch_id`, or, where that is NULL, failed for
 * `reason`. */
MUST_CHECK bool letter_batch_end(struct store *store, const char *id, const char *study_id,
                                 const char *dispatch_id, const char *reason, struct error *reterr);

struct letter_file {
    const unsigned char *bytes;
    size_t length;
};

/* The PDFs of the letters that were sent, in the order of the batch. */
MUST_CHECK bool letter_batch_files(struct store *store, struct arena *arena, const char *id,
                                   struct letter_file **ret_files, size_t *ret_count,
                                   struct error *reterr);

#endif
