#include "analysis/quality.h"

void quality_of_pressures(struct study *study, const struct filling_phase *filling,
                          const struct void_phase *void_phase)
{
    (void)study;
    (void)filling;
    (void)void_phase;
}
