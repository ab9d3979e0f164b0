#include "analysis/anorectal/anorectal.h"

#include "analysis/anorectal/canal_length.h"
#include "analysis/anorectal/parts.h"
#include "analysis/criteria_anorectal.h"
#include "analysis/measure.h"
#include "analysis/memory.h"

static struct measure expulsion_time(const struct study *study)
{
    const struct optional_number entered = study->recording->conditions.balloon_expulsion_s;

    if (!entered.known) {
        return measure_absent("no expulsion time was entered");
    }
    if (!(entered.value >= 0.0 && entered.value <= CRITERIA_ARM_EXPULSION_MAX_S)) {
        return measure_absent("the entered expulsion time is not plausible");
    }
    return measure_entered(entered.value, NULL);
}

static bool list_manoeuvres(const struct anorectal_parts *parts, struct item_list *ret_list)
{
    struct anorectal_manoeuvre *items =
        memory_array(parts->study->memory, parts->list.count, sizeof *items);

    if (items == NULL) {
        return false;
    }
    for (size_t i = 0; i < parts->list.count; i++) {
        items[i] = parts->list.items[i].item;
    }
    *ret_list = (struct item_list){
        .state = MEASURE_PRESENT,
        .count = parts->list.count,
        .items = items,
        .method = "by their markers; kinds without any marker were sought in the pressures and the "
                  "balloon's volume"};
    return true;
}

bool anorectal_measure(struct study *study, struct anorectal_measures *measures)
{
    struct anorectal_parts parts = {.study = study, .measures = measures};

    if (!anal_signals_open(study, &parts.signals) ||
        !manoeuvre_find(study, &parts.signals, &parts.list) ||
        !anal_rest_measure(study, &parts.signals, &parts.list, &parts.rest,
                           &measures->resting_pressure)) {
        return false;
    }
    for (size_t i = 0; i < parts.list.count; i++) {
        parts.list.items[i].item = parts_empty_item(&parts.list.items[i]);
    }
    squeeze_measure(&parts);
    cough_measure(&parts);
    push_measure(&parts);
    rair_measure(&parts);
    rectal_sensation_measure(&parts);
    measures->functional_canal_length =
        canal_length_measure(study, &parts.signals, &parts.list, parts.rest.span);
    measures->balloon_expulsion_time = expulsion_time(study);
    quality_of_anorectal(&parts);
    return list_manoeuvres(&parts, &measures->manoeuvres);
}
