/* Checks of equipment and their limits as JSON. */
#ifndef FORMATS_EQUIPMENT_JSON_H
#define FORMATS_EQUIPMENT_JSON_H

#include "analysis/equipment.h"
#include "base/error.h"
#include "base/text.h"
#include "formats/json_reader.h"

/* The clinic's own limits of one device, by enum equipment_quantity; what is not known has its
 * standard. */
struct equipment_own_limits {
    struct equipment_limits items[EQUIPMENT_QUANTITY_COUNT];
};

/* An object by quantity: {"pressure": {"absolute": 1, "percent": 0}}, of the quantities by which
 * the kind is checked, as a merge patch (RFC 7396) of what `limits` holds: what is not named stays,
 * null removes it. A fault for what is none of them, and for limits that no point could pass.
 * `value` NULL changes nothing. */
void equipment_limits_patch(const json_t *value, const char *pointer, enum equipment_kind kind,
                            struct fault_list *faults, struct equipment_own_limits *limits);

/* What equipment_limits_write() wrote; ERROR_INTERNAL when it cannot be read back. */
MUST_CHECK bool equipment_limits_parse(struct arena *arena, const char *json,
                                       enum equipment_kind kind,
                                       struct equipment_own_limits *ret_limits,
                                       struct error *reterr);

/* Only what is known: "{}" when nothing is. */
void equipment_limits_write(const struct equipment_own_limits *limits, struct text *out);

/* The members "points" (1 to EQUIPMENT_POINT_LIMIT, each applied, reading, unit and direction) and
 * "zero" (before, after, unit, minutes) of an open document, into a check of `kind` with these
 * limits and signals; numbers are converted into the quantities' own units. Points with faults keep
 * their place: use nothing of it when there is any fault. */
void equipment_check_read(struct json_reader *reader, struct arena *arena, enum equipment_kind kind,
                          const bool signals[SIGNAL_COUNT],
                          const struct equipment_own_limits *limits,
                          struct equipment_check *ret_check);

/* {"points": […], "quantities": {…}, "zero": {…}, "notes": […]}: what was applied and read, with
 * the judgement, the limits in use and the rules that were not met. */
void equipment_judgement_write(const struct equipment_check *check,
                               const struct equipment_judgement *judgement, struct text *out);

#endif
