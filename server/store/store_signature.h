/* Signatures of studies, and the reports that were signed: added and never changed.
 *
 * The database demands that signature, status and report come in one transaction
 * (schema/0014_signatures.sql). Signing is, within one of store_begin(): signature_lock(),
 * signature_add(), interpretation_add() if it is an amendment, signature_add_report(). After
 * signature_add() the transaction already sees a signed study, so that the report says so. */
#ifndef STORE_STORE_SIGNATURE_H
#define STORE_STORE_SIGNATURE_H

#include "store/store.h"

#include <stddef.h>
#include <stdint.h>

enum { SIGNATURE_SHA256_BYTES = 32 };

struct signature_row {
    int number;          /* from 1 without gaps: 1 is final, every other one amended */
    const char *meaning; /* "final", "amended" */
    int64_t signed_at_us;
    const char *signed_by;   /* account */
    const char *signer_name; /* as they were then */
    const char *signer_role; /* "physician" */
    const char *reason;      /* of an amendment; else "" */
    int interpretation_revision;
    const char *recordings; /* JSON: [{"id": "...", "revision": 1}], by start */
    const char *software;   /* "penstock 0.1.0" */
    const char *analysis_version;
    const char *report_sha256; /* lower-case hexadecimal; NULL before signature_add_report() */
    int64_t report_length;     /* bytes */
    bool report_is_sealed;     /* whether the clinic's key signed the file as well */
};

/* Every signature of a study, oldest first; none when it was never signed. */
MUST_CHECK bool signature_list(struct store *store, struct arena *arena, const char *study_id,
                               struct signature_row **ret_rows, size_t *ret_count,
                               struct error *reterr);

/* One of them; 0 is the newest. ERROR_NOT_FOUND when there is none. */
MUST_CHECK bool signature_get(struct store *store, struct arena *arena, const char *study_id,
                              int number, struct signature_row *ret_row, struct error *reterr);

/* A stored report, byte by byte as it was signed. */
struct signed_report {
    int number; /* of the signature */
    const char *media_type;
    const unsigned char *bytes;
    size_t length;
    unsigned char sha256[SIGNATURE_SHA256_BYTES];
    char sha256_text[2 * SIGNATURE_SHA256_BYTES + 1]; /* lower-case hexadecimal */
    const unsigned char *seal; /* detached CMS signature by the clinic's key, DER; NULL: none */
    size_t seal_length;
};

/* The report of signature `number`; 0 is the newest. ERROR_NOT_FOUND when there is none;
 * ERROR_INTERNAL when the bytes do not have the hash that was stored with them. */
MUST_CHECK bool signature_report_get(struct store *store, struct arena *arena, const char *study_id,
                                     int number, struct signed_report *ret_report,
                                     struct error *reterr);

/* ---- signing ---- */

/* What would be signed. */
struct signature_ground {
    const char *status;
    const char *patient_id;
    int study_version;
    int complete_count;          /* recordings with an analysis, not withdrawn */
    int open_count;              /* recordings that are still running */
    const char *recordings;      /* the complete ones, as in struct signature_row */
    int interpretation_revision; /* the newest; 0: none */
    bool is_interpreted_as_is;   /* it was written of the recordings as they are now */
    int number;                  /* the newest signature; 0: none */
};

/* Locks the study, so that nothing of it changes until the transaction ends, and says what there
 * is. ERROR_NOT_FOUND. */
MUST_CHECK bool signature_lock(struct store *store, struct arena *arena, const char *study_id,
                               struct signature_ground *ret_ground, struct error *reterr);

struct new_signature {
    const char *study_id;
    int number;              /* ground.number + 1 */
    const char *signer_name; /* who signs is the transaction's actor */
    const char *signer_role;
    const char *reason; /* 10 to 1000 characters for an amendment; "" for the first */
    int interpretation_revision;
    const char *software;
    const char *analysis_version;
};

/* Adds the signature over the study's recordings as they are, and sets the study's status, which
 * makes a new version of it. The transaction cannot commit without signature_add_report(). */
MUST_CHECK bool signature_add(struct store *store, const struct new_signature *signature,
                              struct error *reterr);

/* A report as it was signed. */
struct report_file {
    const char *media_type;
    const unsigned char *bytes;
    size_t length;
    const unsigned char *seal; /* the clinic's detached signature, DER; NULL: none */
    size_t seal_length;
};

/* Adds the report of a signature that was added in this transaction.
 * ret_sha256_text  lower-case hexadecimal */
MUST_CHECK bool signature_add_report(struct store *store, const char *study_id, int number,
                                     const struct report_file *report,
                                     char ret_sha256_text[2 * SIGNATURE_SHA256_BYTES + 1],
                                     struct error *reterr);

#endif
