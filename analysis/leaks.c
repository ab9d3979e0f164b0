#include "analysis/leaks.h"

bool leaks_measure(struct study *study, const struct flow_record *record,
                   const struct filling_phase *phase, struct filling_measures *measures)
{
    (void)study;
    (void)record;
    (void)phase;
    (void)measures;
    return true;
}
