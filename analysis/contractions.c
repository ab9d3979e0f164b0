#include "analysis/contractions.h"

bool contractions_find(struct study *study, const struct filling_phase *phase,
                       struct item_list *ret_contractions)
{
    (void)study;
    (void)phase;
    *ret_contractions = (struct item_list){.state = MEASURE_NOT_APPLICABLE};
    return true;
}
