#include "documents.h"

#include "equipment.h"
#include "plan_anorectum.h"
#include "plan_urethra.h"
#include "rng.h"
#include "truth.h"

#include <inttypes.h>
#include <math.h>

enum { NAME_SIZE = 64, PATIENT_KEY = 1, VISIT_KEY, RECORDING_KEY, STREAM_KEY };

static const int64_t REGISTER_OPENED_DAY =
    19724; /* 2024-01-02: ids of patients don't follow today */
static const int64_t DAY_MS = 86400000;

uint64_t documents_stream(size_t visit, size_t part)
{
    return rng_mix(STREAM_KEY, rng_mix(visit, part));
}

struct documents_patient documents_patient_of(const struct documents_order *order, size_t index)
{
    struct documents_patient patient;
    int64_t registered_ms = (REGISTER_OPENED_DAY + (int64_t)index * 3) * DAY_MS + 32400000;
    identity_uuid(order->seed, rng_mix(PATIENT_KEY, index), registered_ms, patient.id);
    (void)snprintf(patient.mrn, sizeof patient.mrn, "TV-%06u",
                   (unsigned)(123 + index * 37) % 1000000U);
    return patient;
}

struct documents_visit documents_visit_of(const struct documents_order *order, size_t index)
{
    const struct clinic_visit *row = clinic_visit(index);
    struct documents_visit visit;
    visit.day = order->today;
    if (row->days_ago > 0) {
        visit.day = calendar_working_day(order->anchor - row->days_ago);
    }
    calendar_format_time(visit.day, row->minutes, visit.started_at, &visit.unix_ms);
    identity_uuid(order->seed, rng_mix(VISIT_KEY, index), visit.unix_ms, visit.id);
    return visit;
}

struct documents_recording documents_recording_of(const struct documents_order *order,
                                                  const struct documents_visit *visit, size_t index,
                                                  size_t part)
{
    struct documents_recording recording;
    int64_t unix_ms = 0;
    int minutes = clinic_visit(index)->minutes + 6 + 14 * (int)part;
    calendar_format_time(visit->day, minutes, recording.started_at, &unix_ms);
    identity_uuid(order->seed, rng_mix(RECORDING_KEY, rng_mix(index, part)), unix_ms, recording.id);
    return recording;
}

static void name_of(char name[NAME_SIZE], const char *folder, size_t index)
{
    (void)snprintf(name, NAME_SIZE, "%s/%03zu.json", folder, index + 1);
}

static void name_of_part(char name[NAME_SIZE], const char *folder, size_t index, size_t part)
{
    (void)snprintf(name, NAME_SIZE, "%s/%03zu-%zu.json", folder, index + 1, part + 1);
}

bool documents_write_clinic(const struct documents_order *order)
{
    struct json_out out;
    if (!json_out_open(&out, order->directory, "clinic.json")) {
        return false;
    }
    json_out_object(&out, NULL);
    json_out_string(&out, "note", CLINIC_NOTE);
    json_out_string(&out, "name", CLINIC_NAME);
    json_out_array(&out, "rooms");
    for (size_t i = 0; clinic_room(i) != NULL; i++) {
        json_out_string(&out, NULL, clinic_room(i));
    }
    json_out_end_array(&out);
    json_out_array(&out, "users");
    for (size_t i = 0; clinic_user(i) != NULL; i++) {
        json_out_object(&out, NULL);
        json_out_string(&out, "username", clinic_user(i)->username);
        json_out_string(&out, "display_name", clinic_user(i)->display_name);
        json_out_string(&out, "role", clinic_user(i)->role);
        json_out_end_object(&out);
    }
    json_out_end_array(&out);
    json_out_object(&out, "choices");
    for (size_t i = 0; clinic_choice(i) != NULL; i++) {
        json_out_number(&out, clinic_choice(i)->code, clinic_choice(i)->value, 1);
    }
    json_out_end_object(&out);
    json_out_end_object(&out);
    return json_out_close(&out, "clinic.json");
}

bool documents_write_patient(const struct documents_order *order, size_t index)
{
    char name[NAME_SIZE];
    char born[CALENDAR_DATE_SIZE];
    const struct clinic_patient *row = clinic_patient(index);
    struct documents_patient patient = documents_patient_of(order, index);
    struct json_out out;
    name_of(name, "patients", index);
    if (!json_out_open(&out, order->directory, name)) {
        return false;
    }
    /* Some months past the birthday, so that the age is the same over the whole month. */
    int64_t past_days = 40 + (int64_t)(index * 53 % 270);
    calendar_format_date(order->anchor - (int64_t)floor(row->age_years * 365.25) - past_days, born);
    json_out_object(&out, NULL);
    json_out_string(&out, "id", patient.id);
    json_out_string(&out, "mrn", patient.mrn);
    json_out_string(&out, "family_name", row->family_name);
    json_out_string(&out, "given_name", row->given_name);
    json_out_string(&out, "birth_date", born);
    json_out_string(&out, "sex", row->sex);
    json_out_number(&out, "weight_kg", row->weight_kg, 1);
    json_out_end_object(&out);
    return json_out_close(&out, name);
}

static const char *posture_name(enum plan_posture posture)
{
    static const char *const names[] = {[PLAN_SITTING] = "sitting",
                                        [PLAN_STANDING] = "standing",
                                        [PLAN_SUPINE] = "supine",
                                        [PLAN_LEFT_LATERAL] = "left lateral"};
    return names[posture];
}

/* What such a test is asked for, by its last recording: the others lead up to it. */
static const char *question_of(const struct clinic_visit *visit)
{
    static const char *const questions[] = {
        [PLAN_UROFLOWMETRY] = "Is the flow reduced, and is the bladder emptied?",
        [PLAN_CYSTOMETRY] = "Why is urine lost: overactivity, stress, or both?",
        [PLAN_PRESSURE_FLOW] =
            "How does the bladder store and empty: overactive, obstructed, weak?",
        [PLAN_URETHRAL_PROFILE] = "Does the urethra close, at rest and under stress?",
        [PLAN_ANORECTAL] = "Does the sphincter hold, and does it relax on pushing?",
        [PLAN_TRAINING] = "Does training make the pelvic floor stronger and more enduring?",
    };
    size_t last = 0;
    while (last + 1 < CLINIC_RECORDINGS_MAX && visit->recordings[last + 1] != NULL) {
        last++;
    }
    return visit->recordings[last] == NULL ? "" : questions[visit->recordings[last]->type];
}

static void write_history(struct json_out *out, const struct clinic_visit *visit)
{
    const struct {
        const char *member;
        const char *text;
    } entries[] = {{"question", question_of(visit)},
                   {"diary", visit->diary},
                   {"pad_test", visit->pad_test},
                   {"medication", visit->medication}};

    json_out_object(out, "history");
    for (size_t i = 0; i < sizeof entries / sizeof entries[0]; i++) {
        if (entries[i].text[0] != '\0') {
            json_out_string(out, entries[i].member, entries[i].text);
        }
    }
    json_out_end_object(out);
}

bool documents_write_visit(const struct documents_order *order, size_t index)
{
    char name[NAME_SIZE];
    const struct clinic_visit *row = clinic_visit(index);
    struct documents_visit visit = documents_visit_of(order, index);
    struct documents_patient patient = documents_patient_of(order, row->patient);
    struct json_out out;
    name_of(name, "studies", index);
    if (!json_out_open(&out, order->directory, name)) {
        return false;
    }
    json_out_object(&out, NULL);
    json_out_string(&out, "id", visit.id);
    json_out_string(&out, "patient_id", patient.id);
    json_out_string(&out, "room", row->room);
    json_out_string(&out, "started_at", visit.started_at);
    json_out_string(&out, "operator", row->operator_name);
    json_out_string(&out, "position", posture_name(row->recordings[0]->posture));
    if (row->catheters[0] != '\0') {
        json_out_string(&out, "catheters", row->catheters);
    }
    write_history(&out, row);
    json_out_end_object(&out);
    return json_out_close(&out, name);
}

static void write_known(struct json_out *out, const char *key, double value, int decimals)
{
    if (value > 0.0) {
        json_out_number(out, key, value, decimals);
    }
}

static void write_bladder_conditions(struct json_out *out, const struct scene *scene,
                                     const struct plan *plan)
{
    if (scene->truth.residual_ml.known) { /* by ultrasound, which reads to about 5 mL */
        double residual_ml = 5.0 * round(scene->truth.residual_ml.value / 5.0);
        json_out_number(out, "post_void_residual_ml", residual_ml, 0);
    }
    if (plan->flow_hz > 0.0) {
        json_out_number(out, "flow_delay_s", plan->flow_delay_s, 1);
    }
    if (plan->type != PLAN_UROFLOWMETRY) {
        json_out_number(out, "initial_residual_ml", plan->filling.initial_ml, 0);
        json_out_number(out, "filling_rate_ml_min", plan->filling.rate_ml_min, 0);
    }
    write_known(out, "free_qmax_ml_s", plan->free_qmax_ml_s, 1);
}

static void write_emg_conditions(struct json_out *out, const struct plan *plan)
{
    static const char *const forms[] = {[PLAN_EMG_ENVELOPE] = "envelope",
                                        [PLAN_EMG_RECTIFIED] = "rectified",
                                        [PLAN_EMG_RAW] = "raw"};
    if (plan->emg_form != PLAN_EMG_UNSAID) {
        json_out_string(out, "emg_form", forms[plan->emg_form]);
    }
    if (plan->lesion != PLAN_LESION_UNSAID) {
        json_out_bool(out, "neurological_lesion", plan->lesion == PLAN_LESION_KNOWN);
    }
}

static void write_conditions(struct json_out *out, const struct scene *scene,
                             const struct plan *plan)
{
    json_out_object(out, "conditions");
    json_out_string(out, "position", posture_name(plan->posture));
    if (plan_is_of_bladder(plan)) {
        write_bladder_conditions(out, scene, plan);
    }
    write_emg_conditions(out, plan);
    if (plan->urethra != NULL) {
        json_out_number(out, "puller_speed_mm_s", plan->urethra->speed_mm_s, 1);
    }
    if (plan->anorectum != NULL) {
        write_known(out, "balloon_expulsion_s", plan->anorectum->expulsion_s, 0);
        write_known(out, "anal_sensor_spacing_mm", plan->anorectum->spacing_mm, 1);
    }
    if (plan->type != PLAN_UROFLOWMETRY && plan->pressure_hz > 0.0) {
        bool anal = plan->type == PLAN_ANORECTAL;
        json_out_string(out, "reference_level", anal ? "anus" : "symphysis pubis");
        json_out_string(out, "zeroed", "atmosphere");
    }
    json_out_end_object(out);
}

static void write_channels(struct json_out *out, const struct sensors_set *sensors)
{
    json_out_array(out, "channels");
    for (size_t i = 0; i < sensors->count; i++) {
        const struct sensors_channel *channel = &sensors->channels[i];
        json_out_object(out, NULL);
        json_out_string(out, "signal", channel->signal);
        json_out_string(out, "unit", channel->unit);
        json_out_number(out, "rate_hz", channel->rate_hz, 0);
        json_out_number(out, "start_s", channel->start_s, 1);
        if (channel->scale > 0.0) {
            json_out_string(out, "encoding", "int16");
            json_out_number(out, "scale", channel->scale, 1);
            json_out_number(out, "offset", 0.0, 0);
            json_out_codes(out, "data", channel->values, channel->count, channel->scale);
        } else {
            json_out_samples(out, "samples", channel->values, channel->count, channel->decimals);
        }
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

static void write_events(struct json_out *out, const struct scene *scene)
{
    json_out_array(out, "events");
    for (size_t i = 0; i < scene->marker_count; i++) {
        const struct scene_marker *marker = &scene->markers[i];
        json_out_object(out, NULL);
        json_out_number(out, "at_s", marker->at_s, 1);
        json_out_string(out, "code", marker->code);
        if (marker->valued) {
            json_out_number(out, "value", marker->value, 1);
        }
        if (marker->note[0] != '\0') {
            json_out_string(out, "note", marker->note);
        }
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

bool documents_write_recording(const struct documents_order *order, size_t index, size_t part,
                               const struct scene *scene, const struct sensors_set *sensors)
{
    char name[NAME_SIZE];
    const struct plan *plan = clinic_visit(index)->recordings[part];
    struct documents_visit visit = documents_visit_of(order, index);
    struct documents_recording recording = documents_recording_of(order, &visit, index, part);
    struct json_out out;
    name_of_part(name, "recordings", index, part);
    if (!json_out_open(&out, order->directory, name)) {
        return false;
    }
    json_out_object(&out, NULL);
    json_out_string(&out, "id", recording.id);
    json_out_string(&out, "type", truth_type_name(plan->type));
    json_out_string(&out, "started_at", recording.started_at);
    write_conditions(&out, scene, plan);
    write_channels(&out, sensors);
    write_events(&out, scene);
    json_out_end_object(&out);
    return json_out_close(&out, name);
}

bool documents_write_truth(const struct documents_order *order, size_t index, size_t part,
                           const struct scene *scene)
{
    char name[NAME_SIZE];
    const struct plan *plan = clinic_visit(index)->recordings[part];
    struct documents_visit visit = documents_visit_of(order, index);
    struct documents_recording recording = documents_recording_of(order, &visit, index, part);
    struct json_out out;
    name_of_part(name, "truth", index, part);
    if (!json_out_open(&out, order->directory, name)) {
        return false;
    }
    bool written = truth_write(&out, scene, plan, recording.id);
    return json_out_close(&out, name) && written;
}

static void list_patients(struct json_out *out, const struct documents_order *order)
{
    char name[NAME_SIZE];
    json_out_array(out, "patients");
    for (size_t i = 0; clinic_patient(i) != NULL; i++) {
        struct documents_patient patient = documents_patient_of(order, i);
        name_of(name, "patients", i);
        json_out_object(out, NULL);
        json_out_string(out, "file", name);
        json_out_string(out, "id", patient.id);
        json_out_string(out, "mrn", patient.mrn);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

static void list_recordings(struct json_out *out, const struct documents_order *order,
                            const struct documents_visit *visit, size_t index)
{
    char name[NAME_SIZE];
    const struct clinic_visit *row = clinic_visit(index);
    json_out_array(out, "recordings");
    for (size_t part = 0; part < CLINIC_RECORDINGS_MAX && row->recordings[part] != NULL; part++) {
        struct documents_recording recording = documents_recording_of(order, visit, index, part);
        json_out_object(out, NULL);
        name_of_part(name, "recordings", index, part);
        json_out_string(out, "file", name);
        name_of_part(name, "truth", index, part);
        json_out_string(out, "truth", name);
        json_out_string(out, "id", recording.id);
        json_out_string(out, "type", truth_type_name(row->recordings[part]->type));
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

bool documents_write_index(const struct documents_order *order)
{
    char name[NAME_SIZE];
    char today[CALENDAR_DATE_SIZE];
    struct json_out out;
    if (!json_out_open(&out, order->directory, "index.json")) {
        return false;
    }
    calendar_format_date(order->today, today);
    json_out_object(&out, NULL);
    json_out_string(&out, "note", CLINIC_NOTE);
    json_out_string(&out, "clinic", CLINIC_NAME);
    json_out_string(&out, "today", today);
    json_out_number(&out, "seed", (double)order->seed, 0);
    equipment_list(&out, order);
    list_patients(&out, order);
    json_out_array(&out, "studies");
    for (size_t i = 0; clinic_visit(i) != NULL; i++) {
        struct documents_visit visit = documents_visit_of(order, i);
        struct documents_patient patient = documents_patient_of(order, clinic_visit(i)->patient);
        name_of(name, "studies", i);
        json_out_object(&out, NULL);
        json_out_string(&out, "file", name);
        json_out_string(&out, "id", visit.id);
        json_out_string(&out, "patient_id", patient.id);
        json_out_string(&out, "room", clinic_visit(i)->room);
        json_out_string(&out, "started_at", visit.started_at);
        list_recordings(&out, order, &visit, i);
        json_out_end_object(&out);
    }
    json_out_end_array(&out);
    json_out_end_object(&out);
    return json_out_close(&out, "index.json");
}
