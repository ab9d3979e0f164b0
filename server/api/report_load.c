#include "api/report_load.h"

#include "api/figure_load.h"
#include "api/public_address.h"
#include "formats/json_reader.h"
#include "report/report_figures.h"
#include "store/store_device.h"
#include "store/store_interpretation.h"
#include "store/store_referral.h"
#include "store/store_signature.h"

static void release_json(void *object)
{
    json_decref(object);
}

/* ---- figures ---- */

static bool load_figures(struct store *store, struct arena *arena, const struct report *report,
                         struct report_recording *recording, struct error *reterr)
{
    struct recording_row row;
    struct figure_source *source = arena_alloc(arena, sizeof *source);
    const struct figure_wanted wanted = {
        .row = &row, .study = report->study, .patient = report->patient};
    int revision = 0;
    if (!recording_get(store, arena, recording->row->id, &row, reterr) ||
        !figure_load(store, arena, &wanted, source, &revision, reterr)) {
        return false;
    }
    recording->figure_count = report_figures_make(source, arena, &recording->figures);
    return true;
}

/* ---- recordings ---- */

static bool load_recordings(struct store *store, struct arena *arena, enum report_use use,
                            struct report *report, struct error *reterr)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    if (!recording_list_analysed(store, arena, report->study->id, &rows, &analyses,
                                 &report->recording_count, reterr)) {
        return false;
    }
    struct report_recording *recordings =
        arena_array(arena, report->recording_count, sizeof *recordings);
    report->recordings = recordings;
    for (size_t i = 0; i < report->recording_count; i++) {
        recordings[i].row = &rows[i];
        recordings[i].analysis_json = analyses[i];
        recordings[i].has_no_room = i >= REPORT_FIGURED_RECORDINGS_MOST;
        if (use == REPORT_PEOPLE && !recordings[i].has_no_room &&
            !load_figures(store, arena, report, &recordings[i], reterr)) {
            return false;
        }
    }
    return true;
}

/* ---- who and with what ---- */

/* What may be missing: that is no failure. */
static bool is_absent(const struct error *error)
{
    return error->kind == ERROR_NOT_FOUND;
}

static bool load_referrer(struct store *store, struct arena *arena, struct report *report,
                          struct error *reterr)
{
    struct referrer *referrers = NULL;
    size_t count = 0;
    struct text names;
    if (!referral_list(store, arena, report->study->patient_id, &referrers, &count, reterr)) {
        return is_absent(reterr);
    }
    text_init(&names, arena, LIMIT_ANALYSIS_BYTES);
    for (size_t i = 0; i < count; i++) {
        text_append(&names, i == 0 ? "" : ", ");
        text_append(&names, referrers[i].display_name);
    }
    report->referrer = names.data;
    return true;
}

static bool load_interpretation(struct store *store, struct arena *arena, struct report *report,
                                struct error *reterr)
{
    struct interpretation_row row;
    if (!interpretation_get(store, arena, report->study->id, 0, &row, reterr)) {
        return is_absent(reterr);
    }
    json_t *document = json_reader_load_own(row.document);
    if (document == NULL) {
        return error_set(reterr, ERROR_INTERNAL, "stored interpretation: not readable");
    }
    arena_defer(arena, release_json, document);
    report->interpretation = document;
    return true;
}

static bool load_signatures(struct store *store, struct arena *arena, struct report *report,
                            struct error *reterr)
{
    struct signature_row *rows = NULL;
    if (!signature_list(store, arena, report->study->id, &rows, &report->signature_count, reterr)) {
        return false;
    }
    struct report_signature *signatures =
        arena_array(arena, report->signature_count, sizeof *signatures);
    for (size_t i = 0; i < report->signature_count; i++) {
        signatures[i] = (struct report_signature){
            .number = rows[i].number,
            .meaning = rows[i].meaning,
            .signed_at_us = rows[i].signed_at_us,
            .signer_name = rows[i].signer_name,
            .signer_role = rows[i].signer_role,
            .reason = rows[i].reason,
        };
    }
    report->signatures = signatures;
    return true;
}

static const char *verdict_of(const struct device *device)
{
    if (device->last == NULL) {
        return "not_verified";
    }
    return device->overdue ? "overdue" : equipment_verdict_name(device->last->verdict);
}

static bool load_devices(struct store *store, struct arena *arena, struct report *report,
                         struct error *reterr)
{
    struct device *found = NULL;
    if (!device_list_for_study(store, arena, report->study->room, report->study->started_at_us,
                               &found, &report->device_count, reterr)) {
        return false;
    }
    struct report_device *devices = arena_array(arena, report->device_count, sizeof *devices);
    for (size_t i = 0; i < report->device_count; i++) {
        const struct device_verification *last = found[i].last;
        devices[i] = (struct report_device){
            .kind = equipment_kind_name(found[i].kind),
            .name = found[i].name,
            .serial = found[i].serial,
            .verified_at_us = last == NULL ? 0 : last->verified_at_us,
            .due_at_us = found[i].due_at_us,
            .verdict = verdict_of(&found[i]),
            .words = last == NULL || found[i].passed ? "" : last->words,
        };
    }
    report->devices = devices;
    return true;
}

/* ---- the whole ---- */

/* The last change that the report tells of, as far as it has a time. */
static int64_t last_change_us(const struct report *report)
{
    int64_t latest_us = report->study->started_at_us;
    for (size_t i = 0; i < report->recording_count; i++) {
        int64_t received_at_us = report->recordings[i].row->received_at_us;
        latest_us = received_at_us > latest_us ? received_at_us : latest_us;
    }
    for (size_t i = 0; i < report->signature_count; i++) {
        int64_t signed_at_us = report->signatures[i].signed_at_us;
        latest_us = signed_at_us > latest_us ? signed_at_us : latest_us;
    }
    return latest_us;
}

bool report_load(struct store *store, struct arena *arena, const struct report_subject *subject,
                 enum report_use use, struct report *ret_report, struct error *reterr)
{
    struct study *study = arena_alloc(arena, sizeof *study);
    struct patient *patient = arena_alloc(arena, sizeof *patient);
    struct report report = {.clinic_name = subject->clinic_name,
                            .study = study,
                            .patient = patient,
                            .code = subject->code,
                            .code_label = api_short_id(arena, subject->study_id)};
    if (!study_get(store, arena, subject->study_id, study, reterr) ||
        !patient_get(store, arena, study->patient_id, patient, reterr) ||
        !load_referrer(store, arena, &report, reterr) ||
        !load_interpretation(store, arena, &report, reterr) ||
        !load_signatures(store, arena, &report, reterr) ||
        !load_devices(store, arena, &report, reterr) ||
        !load_recordings(store, arena, use, &report, reterr)) {
        return false;
    }
    report.made_at_us = last_change_us(&report);
    *ret_report = report;
    return true;
}

bool report_make_pdf(struct store *store, struct arena *arena, const struct report_subject *subject,
                     const unsigned char **ret_bytes, size_t *ret_length, struct error *reterr)
{
    struct report report;
    return report_load(store, arena, subject, REPORT_PEOPLE, &report, reterr) &&
           document_write_pdf(report_document(&report, arena), arena, ret_bytes, ret_length,
                              reterr);
}
