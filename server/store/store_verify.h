/* Reads everything that makes each recording, says what is damaged, and computes one checksum a
 * recording, by which a copy of the database is compared with the original. */
#ifndef STORE_STORE_VERIFY_H
#define STORE_STORE_VERIFY_H

#include "base/error.h"

#include <stdbool.h>
#include <stdint.h>

/* The serialisation, of which the checksum is the BLAKE2b-256:
 *
 *   "penstock recording checksum 2\n"
 *   rows, in this order, each a letter and its columns:
 *     R  the recording: clinic_id, id, study_id, type, started_at, received_at, conditions,
 *        duration_s, revision, created_by, received_on, state, opening, version, has_overview
 *     C  channels by number: number, signal, unit, rate_hz, start_s, encoding, decimals, scale,
 *        value_offset, sample_count, missing_count, recording_id
 *     B  sample blocks by channel, level, block, date: channel_number, level, block_number,
 *        received_on, sample_count, checksum, data
 *     V  revisions by number: revision, received_on, events, analysis, created_at, created_by,
 *        analysis_version, reason
 *     S  changes of state by version: version, change, reason, created_at, created_by
 *     P  pieces by arrival: number, arrival, received_on, digest, starts, ends, event_total, data,
 *        received_at, created_by
 *     I  interpretations of its study by revision: revision, document, recordings, created_at,
 *        created_by
 *     G  signatures of its study by number: number, meaning, signed_at, signed_by, signer_name,
 *        signer_role, reason, interpretation_revision, recordings, software, analysis_version
 *     D  signed documents of its study by number and kind: number, kind, media_type, content,
 *        sha256, length, detached_signature
 *     L  letters of its study by version: version, template_name, language, addressee_name,
 *        addressee_salutation, addressee_address, referrer_id, copies, question, remarks,
 *        created_at, created_by
 *     T  letters of its study that were sent, by id: id, signature_number, letter_version,
 *        template_name, language, template_version, way, recipient, referrer_id, repetition,
 *        sent_at, sent_by, batch_id, html, plain, pdf, sha256
 *
 * A column is its length in bytes (8 bytes, the least significant first) and its bytes; null is
 * the length 2^64 - 1 without bytes. Columns of bytes (data, digest, content, sha256,
 * detached_signature, pdf) are taken as they are, others as PostgreSQL's text with DateStyle ISO,
 * TimeZone UTC and extra_float_digits 1.
 *
 * Who adds a column that makes a recording raises the number. */
enum { VERIFY_CHECKSUM_FORMAT = 2, VERIFY_CHECKSUM_TEXT_SIZE = 65 };

struct verify_damage {
    const char *clinic_id;
    const char *recording_id;
    bool has_block; /* channel, level and block (see schema/0007_ingest.sql) say which */
    int channel;
    int level;
    int64_t block;
    const char *detail;
};

/* What is told as it is found. */
struct verify_listener {
    void *context;
    /* Once a recording, in order of clinic and id. checksum: hexadecimal; NULL: the database could
     * not read it (told as damage before). False with an error ends the run. */
    bool (*take_recording)(void *context, const char *clinic_id, const char *recording_id,
                           const char *checksum, struct error *reterr);
    void (*take_damage)(void *context, const struct verify_damage *damage);
};

struct verify_counts {
    int64_t clinics;
    int64_t recordings;
    int64_t blocks;
    int64_t revisions;
    int64_t pieces;
    int64_t damages;
};

struct verify_options {
    const char *conninfo;  /* of the schema's owner, or of a role that row-level security does not
                              hold; of the server's own role when a clinic is named */
    const char *clinic_id; /* NULL: every clinic */
    const char *snapshot; /* an exported snapshot of the database (pg_export_snapshot()), or NULL */
};

/* Reads every recording of whatever state, in one read-only snapshot of the database and with a
 * connection of its own, in bounded memory. Damage is told, not an error; errors are a role that
 * may not see all (ERROR_INVALID), a clinic that is none (ERROR_NOT_FOUND), a lost database. */
MUST_CHECK bool verify_run(const struct verify_options *options,
                           const struct verify_listener *listener, struct verify_counts *ret_counts,
                           struct error *reterr);

#endif
