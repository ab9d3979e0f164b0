#include "truth_studies.h"

static void write_transmissions(struct json_out *out, const struct facts_pull *pull)
{
    json_out_array(out, "transmissions");
    for (size_t i = 0; i < pull->cough_count; i++) {
        const struct facts_transmission *cough = &pull->coughs[i];
        json_out_object(out, NULL);
        json_out_number(out, "at_s", cough->at_s, 2);
        json_out_number(out, "position_mm", cough->position_mm, 2);
        json_out_number(out, "pves_rise", cough->pves_rise_cmh2o, 2);
        json_out_number(out, "pura_rise", cough->pura_rise_cmh2o, 2);
        json_out_number(out, "ratio_percent",
                        100.0 * cough->pura_rise_cmh2o / cough->pves_rise_cmh2o, 2);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

void truth_write_pulls(struct json_out *out, const struct scene_truth *truth)
{
    json_out_array(out, "pulls");
    for (size_t i = 0; i < truth->pull_count; i++) {
        const struct facts_pull *pull = &truth->pulls[i];
        json_out_object(out, NULL);
        json_out_string(out, "kind", pull->kind);
        json_out_number(out, "start_s", pull->start_s, 2);
        json_out_number(out, "end_s", pull->end_s, 2);
        json_out_number(out, "neck_s", pull->neck_s, 2);
        json_out_number(out, "speed_mm_s", pull->speed_mm_s, 2);
        json_out_number(out, "pves", pull->pves_cmh2o, 2);
        json_out_number(out, "maximum_urethral_pressure", pull->pves_cmh2o + pull->closure_cmh2o,
                        2);
        json_out_number(out, "maximum_closure_pressure", pull->closure_cmh2o, 2);
        json_out_number(out, "functional_length", pull->functional_mm, 2);
        json_out_number(out, "total_length", pull->total_mm, 2);
        json_out_number(out, "length_to_peak", pull->to_peak_mm, 2);
        json_out_number(out, "closure_area", pull->area_cmh2o_cm, 2);
        write_transmissions(out, pull);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

void truth_write_anorectal(struct json_out *out, const struct scene_truth *truth)
{
    const struct facts_anorectal *facts = &truth->anorectal;
    json_out_number(out, "rest_from_s", facts->rest_from_s, 2);
    json_out_number(out, "rest_to_s", facts->rest_to_s, 2);
    json_out_number(out, "resting_pressure", facts->rest_mmhg, 2);
    json_out_number(out, "functional_canal_length", facts->canal_mm, 1);
    json_out_number(out, "first_sensation_volume", facts->first_sensation_ml, 1);
    json_out_number(out, "desire_volume", facts->desire_ml, 1);
    json_out_number(out, "maximum_tolerated_volume", facts->tolerated_ml, 1);
    json_out_number(out, "rectal_compliance", facts->compliance_ml_mmhg, 2);
    json_out_array(out, "manoeuvres");
    for (size_t i = 0; i < facts->count; i++) {
        const struct facts_manoeuvre *item = &facts->items[i];
        json_out_object(out, NULL);
        json_out_string(out, "kind", item->kind);
        json_out_number(out, "start_s", item->start_s, 2);
        json_out_number(out, "end_s", item->end_s, 2);
        json_out_number(out, "anal_rest", item->anal_rest_mmhg, 2);
        json_out_number(out, "anal_peak", item->anal_peak_mmhg, 2);
        json_out_number(out, "anal_lowest", item->anal_lowest_mmhg, 2);
        json_out_number(out, "rectal_rise", item->rectal_rise_mmhg, 2);
        json_out_number(out, "hold_s", item->hold_s, 2);
        if (item->volume_ml > 0.0) {
            json_out_number(out, "volume_ml", item->volume_ml, 1);
        }
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

void truth_write_training(struct json_out *out, const struct scene_truth *truth)
{
    const struct facts_training *facts = &truth->training;
    json_out_number(out, "rest_tone", facts->rest, 2);
    json_out_array(out, "efforts");
    for (size_t i = 0; i < facts->count; i++) {
        const struct facts_effort *effort = &facts->items[i];
        json_out_object(out, NULL);
        json_out_string(out, "kind", effort->kind);
        json_out_number(out, "start_s", effort->start_s, 2);
        json_out_number(out, "end_s", effort->end_s, 2);
        json_out_bool(out, "followed", effort->followed);
        if (effort->followed) {
            json_out_number(out, "peak", effort->peak, 2);
            json_out_number(out, "mean", effort->mean, 2);
            json_out_number(out, "hold_s", effort->hold_s, 2);
        }
        json_out_end_object(out);
    }
    json_out_end_array(out);
}
