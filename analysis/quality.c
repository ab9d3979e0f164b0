#include "analysis/quality.h"

void quality_of_signals(struct study *study)
{
    (void)study;
}

void quality_of_flow(struct study *study, const struct flow_record *record,
                     const struct void_phase *phase, const struct flow_measures *measures)
{
    (void)study;
    (void)record;
    (void)phase;
    (void)measures;
}

void quality_of_filling(struct study *study, const struct filling_measures *measures)
{
    (void)study;
    (void)measures;
}
