/* Involuntary detrusor contractions during filling. */
#ifndef ANALYSIS_CONTRACTIONS_H
#define ANALYSIS_CONTRACTIONS_H

#include "analysis/filling.h"

/* Finds them between the start of filling and its end, leaving out what pressure_events_find()
 * found, which is to be called before. `leak` of each stays false, but for one that
 * empties the bladder: leaks.h sets it. False when memory ran out. */
bool contractions_find(struct study *study, const struct filling_phase *phase,
                       struct item_list *ret_contractions);

#endif
