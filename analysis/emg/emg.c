#include "analysis/emg/emg.h"

bool emg_measure(struct study *study, const struct filling_phase *filling,
                 const struct void_phase *void_phase, double flow_delay_s,
                 struct emg_measures *measures)
{
    (void)study;
    (void)filling;
    (void)void_phase;
    (void)flow_delay_s;
    (void)measures;
    return true;
}

void emg_draft(struct study *study)
{
    (void)study;
}
