/* Involuntary detrusor contractions during filling. */
#ifndef ANALYSIS_FILLING_CONTRACTIONS_H
#define ANALYSIS_FILLING_CONTRACTIONS_H

#include "analysis/filling/filling.h"

/* Finds them between the start of filling and its end, leaving out what pressure_events_find()
 * found, which is to be called before. `leak` of each stays false, but for one that
 * empties the bladder: leaks.h sets it. False when memory ran out. */
bool contractions_find(struct study *study, const struct filling_phase *phase,
                       struct item_list *ret_contractions);

/* Whether filling ends because one of them empties the bladder: nobody permitted voiding, and the
 * last one is still on when it begins. */
bool contractions_empty_bladder(const struct filling_phase *phase,
                                const struct item_list *contractions);

#endif
