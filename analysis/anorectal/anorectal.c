#include "analysis/anorectal/anorectal.h"

bool anorectal_measure(struct study *study, struct anorectal_measures *measures)
{
    (void)study;
    (void)measures;
    return true;
}

void anorectal_draft(struct study *study)
{
    (void)study;
}
