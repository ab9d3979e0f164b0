/* The true values of profiles, manometries and trainings, as members of the object that truth.h
 * describes. Lengths in mm, pressures in cmH2O, of the anal canal in mmHg, free of noise:
 *
 *   pulls          [{kind, start_s, end_s, neck_s, speed_mm_s, pves, maximum_urethral_pressure,
 *                  maximum_closure_pressure, functional_length, total_length, length_to_peak,
 *                  closure_area (cmH2O cm), transmissions [{at_s, position_mm, pves_rise,
 * pura_rise, ratio_percent}]}] resting_pressure (rest_from_s to rest_to_s), functional_canal_length
 * (from the pressures along the canal, whatever the sensors can see of it), first_sensation_volume,
 *                  desire_volume, maximum_tolerated_volume, rectal_compliance,
 *                  manoeuvres [{kind, start_s, end_s, anal_rest, anal_peak, anal_lowest,
 *                  rectal_rise, volume_ml, hold_s}] of the highest of the sensors
 *   rest_tone, efforts [{kind, start_s, end_s, peak, mean, hold_s, followed}] of a training, in the
 *                  unit of its sensor; hold_s is above half of the net peak, mean over that time */
#ifndef DEMO_DATA_TRUTH_STUDIES_H
#define DEMO_DATA_TRUTH_STUDIES_H

#include "json_out.h"
#include "scene.h"

void truth_write_pulls(struct json_out *out, const struct scene_truth *truth);
void truth_write_anorectal(struct json_out *out, const struct scene_truth *truth);
void truth_write_training(struct json_out *out, const struct scene_truth *truth);

#endif
