#include "analysis/units.h"

#include <stddef.h>
#include <string.h>

enum quantity {
    QUANTITY_PRESSURE,
    QUANTITY_VOLUME,
    QUANTITY_FLOW,
    QUANTITY_TIME,
    QUANTITY_LENGTH,
    QUANTITY_VOLTAGE,
    QUANTITY_MASS,
    QUANTITY_SPEED,
    QUANTITY_FRACTION,
};

struct unit_row {
    const char *code;
    enum quantity quantity;
    double scale; /* one of this unit in the quantity's base unit (Pa, mL, mL/s, s, mm, uV, kg,
                     mm/s, 1) */
};

static const struct unit_row units[] = {
    {"cm[H2O]", QUANTITY_PRESSURE, 98.0665},
    {"kPa", QUANTITY_PRESSURE, 1000.0},
    {"mm[Hg]", QUANTITY_PRESSURE, 133.322387415},
    {"mL", QUANTITY_VOLUME, 1.0},
    {"L", QUANTITY_VOLUME, 1000.0},
    {"mL/s", QUANTITY_FLOW, 1.0},
    {"L/min", QUANTITY_FLOW, 1000.0 / 60.0},
    {"mL/min", QUANTITY_FLOW, 1.0 / 60.0},
    {"s", QUANTITY_TIME, 1.0},
    {"min", QUANTITY_TIME, 60.0},
    {"mm", QUANTITY_LENGTH, 1.0},
    {"cm", QUANTITY_LENGTH, 10.0},
    {"uV", QUANTITY_VOLTAGE, 1.0},
    {"mV", QUANTITY_VOLTAGE, 1000.0},
    {"kg", QUANTITY_MASS, 1.0},
    {"g", QUANTITY_MASS, 0.001},
    {"mm/s", QUANTITY_SPEED, 1.0},
    {"cm/s", QUANTITY_SPEED, 10.0},
    {"%", QUANTITY_FRACTION, 0.01},
    {"1", QUANTITY_FRACTION, 1.0},
};

static const struct unit_row *find_unit(const char *code)
{
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(code, units[i].code) == 0) {
            return &units[i];
        }
    }
    return NULL;
}

bool units_factor(const char *from, const char *to, double *ret_factor)
{
    const struct unit_row *source = find_unit(from);
    const struct unit_row *target = find_unit(to);

    if (source == NULL || target == NULL || source->quantity != target->quantity) {
        return false;
    }
    *ret_factor = source == target ? 1.0 : source->scale / target->scale;
    return true;
}
