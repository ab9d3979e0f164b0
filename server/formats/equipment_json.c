#include "formats/equipment_json.h"

#include "analysis/units.h"
#include "formats/equipment_words.h"
#include "formats/json_writer.h"

#include <math.h>
#include <string.h>

enum {
    UNITS_PER_QUANTITY = 3,
    UNITS_MAX = EQUIPMENT_QUANTITY_COUNT * UNITS_PER_QUANTITY,
    ZERO_MINUTES_MOST = 7 * 24 * 60
};

static const double VALUE_MOST = 1e6; /* in the unit that came */

/* ---- limits ---- */

/* A number of the limits; the table serves reading and writing alike. */
static const struct limit_field {
    const char *name;
    double least;
    double most;
    size_t offset; /* of the optional_number in struct equipment_limits */
} fields[] = {
    {"absolute", 0.0, 1000.0, offsetof(struct equipment_limits, absolute)},
    {"percent", 0.0, 50.0, offsetof(struct equipment_limits, percent)},
    {"hysteresis", 0.001, 1000.0, offsetof(struct equipment_limits, hysteresis)},
    {"drift", 0.001, 1000.0, offsetof(struct equipment_limits, drift)},
    {"gain_low", 0.5, 1.0, offsetof(struct equipment_limits, gain_low)},
    {"gain_high", 1.0, 2.0, offsetof(struct equipment_limits, gain_high)},
    {"offset", 0.001, 1000.0, offsetof(struct equipment_limits, offset)},
};

enum { FIELD_COUNT = sizeof fields / sizeof fields[0] };

static struct optional_number get_field(const struct equipment_limits *limits,
                                        const struct limit_field *field)
{
    struct optional_number number;
    memcpy(&number, (const char *)limits + field->offset, sizeof number);
    return number;
}

static void set_field(struct equipment_limits *limits, const struct limit_field *field,
                      struct optional_number number)
{
    memcpy((char *)limits + field->offset, &number, sizeof number);
}

static bool is_positive(struct optional_number number)
{
    return number.known && number.value > 0.0;
}

static void patch_quantity(struct json_reader *reader, enum equipment_kind kind,
                           enum equipment_quantity quantity, struct equipment_limits *limits)
{
    const char *name = equipment_quantity_name(quantity);
    const json_t *value = json_reader_take(reader, name, JSON_OPTIONAL);
    if (value == NULL) {
        if (json_reader_is_null(reader, name)) {
            *limits = (struct equipment_limits){0};
        }
        return;
    }
    struct json_reader own;
    json_reader_open(&own, value, json_reader_pointer(reader, name), reader->faults);
    if (!equipment_measures(kind, quantity)) {
        fault_add(reader->faults, own.pointer, "A %s is not checked by this.",
                  equipment_kind_name(kind));
    }
    for (size_t i = 0; i < FIELD_COUNT; i++) {
        const struct optional_number number = json_reader_number(
            &own, fields[i].name, JSON_OPTIONAL, fields[i].least, fields[i].most);
        if (number.known || json_reader_is_null(&own, fields[i].name)) {
            set_field(limits, &fields[i], number);
        }
    }
    json_reader_close(&own);
    const struct equipment_limits in_use = equipment_limits_in_use(kind, quantity, limits);
    if ((in_use.absolute.known || in_use.percent.known) && !is_positive(in_use.absolute) &&
        !is_positive(in_use.percent)) {
        fault_add(reader->faults, own.pointer, "absolute and percent must not both be 0.");
    }
}

void equipment_limits_patch(const json_t *value, const char *pointer, enum equipment_kind kind,
                            struct fault_list *faults, struct equipment_own_limits *limits)
{
    struct json_reader reader;
    if (value == NULL) {
        return;
    }
    json_reader_open(&reader, value, pointer, faults);
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        patch_quantity(&reader, kind, (enum equipment_quantity)i, &limits->items[i]);
    }
    json_reader_close(&reader);
}

bool equipment_limits_parse(struct arena *arena, const char *json, enum equipment_kind kind,
                            struct equipment_own_limits *ret_limits, struct error *reterr)
{
    struct fault_list faults;
    fault_list_init(&faults, arena);
    const json_t *value = json_reader_parse(arena, json, strlen(json), &faults);
    *ret_limits = (struct equipment_own_limits){0};
    equipment_limits_patch(value, "", kind, &faults, ret_limits);
    return faults.count == 0 ||
           error_set(reterr, ERROR_INTERNAL, "stored limits that cannot be read back");
}

static bool has_any(const struct equipment_limits *limits)
{
    bool any = false;
    for (size_t i = 0; i < FIELD_COUNT; i++) {
        any = any || get_field(limits, &fields[i]).known;
    }
    return any;
}

static void write_limits(const struct equipment_limits *limits, struct text *out)
{
    text_append_char(out, '{');
    for (size_t i = 0; i < FIELD_COUNT; i++) {
        const struct optional_number number = get_field(limits, &fields[i]);
        if (number.known) {
            json_writer_number(out, fields[i].name, number.value);
        }
    }
    text_append_char(out, '}');
}

void equipment_limits_write(const struct equipment_own_limits *limits, struct text *out)
{
    text_append_char(out, '{');
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        if (has_any(&limits->items[i])) {
            json_writer_name(out, equipment_quantity_name((enum equipment_quantity)i));
            write_limits(&limits->items[i], out);
        }
    }
    text_append_char(out, '}');
}

/* ---- reading a check ---- */

static const char *const accepted_units[EQUIPMENT_QUANTITY_COUNT][UNITS_PER_QUANTITY] = {
    [EQUIPMENT_PRESSURE] = {"cm[H2O]", "mm[Hg]", "kPa"},
    [EQUIPMENT_FLOW] = {"mL/s", "mL/min", "L/min"},
    [EQUIPMENT_VOLUME] = {"mL", "L"},
    [EQUIPMENT_RATE] = {"mL/min", "mL/s", "L/min"},
    [EQUIPMENT_SPEED] = {"mm/s", "cm/s"},
    [EQUIPMENT_LENGTH] = {"mm", "cm"},
    [EQUIPMENT_AMPLITUDE] = {"uV", "mV"},
    [EQUIPMENT_MASS] = {"g", "kg"},
};

/* What a unit can mean for a kind of device. */
struct unit_reading {
    bool known;
    enum equipment_quantity quantity;
    double factor; /* into the quantity's own unit */
};

/* `only` EQUIPMENT_QUANTITY_COUNT: any quantity of the kind. */
static struct unit_reading read_unit(struct json_reader *reader, enum equipment_kind kind,
                                     enum equipment_quantity only)
{
    const char *names[UNITS_MAX + 1] = {NULL};

    enum equipment_quantity quantities[UNITS_MAX] = {EQUIPMENT_PRESSURE};

    size_t count = 0;
    for (int q = 0; q < EQUIPMENT_QUANTITY_COUNT; q++) {
        const enum equipment_quantity quantity = (enum equipment_quantity)q;
        const bool fits = equipment_measures(kind, quantity) &&
                          (only == EQUIPMENT_QUANTITY_COUNT || only == quantity);
        for (int u = 0; fits && u < UNITS_PER_QUANTITY && accepted_units[q][u] != NULL; u++) {
            quantities[count] = quantity;
            names[count++] = accepted_units[q][u];
        }
    }
    const char *unit = json_reader_word(reader, "unit", JSON_REQUIRED, names);
    struct unit_reading reading = {.known = false, .factor = 1.0};
    for (size_t i = 0; unit != NULL && i < count; i++) {
        if (strcmp(unit, names[i]) == 0) {
            reading.quantity = quantities[i];
            reading.known =
                units_factor(unit, equipment_quantity_unit(quantities[i]), &reading.factor);
        }
    }
    return reading;
}

static struct equipment_point read_point(struct json_reader *reader, enum equipment_kind kind)
{
    const struct unit_reading unit = read_unit(reader, kind, EQUIPMENT_QUANTITY_COUNT);
    /* Only pressure is applied below nothing. */
    const double least = unit.known && unit.quantity != EQUIPMENT_PRESSURE ? 0.0 : -VALUE_MOST;
    const struct optional_number applied =
        json_reader_number(reader, "applied", JSON_REQUIRED, least, VALUE_MOST);
    const struct optional_number reading =
        json_reader_number(reader, "reading", JSON_REQUIRED, -VALUE_MOST, VALUE_MOST);
    const char *direction = json_reader_word(reader, "direction", JSON_OPTIONAL,
                                             (const char *const[]){"up", "down", NULL});
    return (struct equipment_point){
        .quantity = unit.quantity,
        .applied = applied.known ? applied.value * unit.factor : 0.0,
        .reading = reading.known ? reading.value * unit.factor : 0.0,
        .falling = direction != NULL && strcmp(direction, "down") == 0,
    };
}

static void read_points(struct json_reader *reader, struct arena *arena,
                        struct equipment_check *check)
{
    const json_t *value = json_reader_take(reader, "points", JSON_REQUIRED);
    const char *pointer = json_reader_pointer(reader, "points");
    if (value == NULL) {
        return;
    }
    const size_t count = json_array_size(value);
    if (!json_is_array(value) || count == 0 || count > EQUIPMENT_POINT_LIMIT) {
        fault_add(reader->faults, pointer, "Must be an array of 1 to %d points.",
                  EQUIPMENT_POINT_LIMIT);
        return;
    }
    struct equipment_point *points = arena_array(arena, count, sizeof *points);
    for (size_t i = 0; i < count; i++) {
        struct json_reader point;
        json_reader_open(&point, json_array_get(value, i), fault_pointer_index(arena, pointer, i),
                         reader->faults);
        points[i] = read_point(&point, check->kind);
        json_reader_close(&point);
    }
    check->points = points;
    check->point_count = count;
}

static struct optional_number scaled(struct optional_number number, double factor)
{
    number.value *= factor;
    return number;
}

static void read_zero(struct json_reader *reader, struct equipment_check *check)
{
    const json_t *value = json_reader_take(reader, "zero", JSON_OPTIONAL);
    if (value == NULL) {
        return;
    }
    struct json_reader zero;
    json_reader_open(&zero, value, json_reader_pointer(reader, "zero"), reader->faults);
    const struct unit_reading unit =
        read_unit(&zero, check->kind, equipment_first_quantity(check->kind));
    check->zero_before = scaled(
        json_reader_number(&zero, "before", JSON_REQUIRED, -VALUE_MOST, VALUE_MOST), unit.factor);
    check->zero_after = scaled(
        json_reader_number(&zero, "after", JSON_OPTIONAL, -VALUE_MOST, VALUE_MOST), unit.factor);
    check->zero_hours = scaled(
        json_reader_number(&zero, "minutes", JSON_OPTIONAL, 1.0, ZERO_MINUTES_MOST), 1.0 / 60.0);
    json_reader_close(&zero);
}

void equipment_check_read(struct json_reader *reader, struct arena *arena, enum equipment_kind kind,
                          const bool signals[SIGNAL_COUNT],
                          const struct equipment_own_limits *limits,
                          struct equipment_check *ret_check)
{
    *ret_check = (struct equipment_check){.kind = kind};
    memcpy(ret_check->signals, signals, sizeof ret_check->signals);
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        ret_check->limits[i] =
            equipment_limits_in_use(kind, (enum equipment_quantity)i, &limits->items[i]);
    }
    read_points(reader, arena, ret_check);
    read_zero(reader, ret_check);
}

/* ---- writing what was found ---- */

static const char *const outcomes[] = {
    [EQUIPMENT_NO_LIMIT] = "no_limit",
    [EQUIPMENT_WITHIN] = "within",
    [EQUIPMENT_OUTSIDE] = "outside",
};

static void write_optional(struct text *out, const char *name, struct optional_number number)
{
    if (number.known) {
        json_writer_known(out, name, number.value);
    }
}

/* A gain needs more than three decimals. */
static void write_fine(struct text *out, const char *name, struct optional_number number)
{
    const double decimals = 1e6;
    if (number.known && isfinite(number.value)) {
        json_writer_number(out, name, round(number.value * decimals) / decimals + 0.0);
    }
}

static void write_point(const struct equipment_point *point,
                        const struct equipment_point_result *result, struct text *out)
{
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "quantity", equipment_quantity_name(point->quantity));
    json_writer_string(out, "unit", equipment_quantity_unit(point->quantity));
    json_writer_known(out, "applied", point->applied);
    json_writer_known(out, "reading", point->reading);
    json_writer_string(out, "direction", point->falling ? "down" : "up");
    json_writer_known(out, "error", result->error);
    write_optional(out, "error_percent", result->error_percent);
    write_optional(out, "limit", result->limit);
    json_writer_string(out, "outcome", outcomes[result->outcome]);
    text_append_char(out, '}');
}

static void write_quantity(const struct equipment_check *check,
                           const struct equipment_judgement *judgement,
                           enum equipment_quantity quantity, struct text *out)
{
    const struct equipment_quantity_result *result = &judgement->quantities[quantity];
    json_writer_name(out, equipment_quantity_name(quantity));
    text_append_char(out, '{');
    json_writer_string(out, "unit", equipment_quantity_unit(quantity));
    write_fine(out, "gain", result->gain);
    write_fine(out, "offset", result->offset);
    write_optional(out, "hysteresis", result->hysteresis);
    json_writer_name(out, "limits");
    write_limits(&check->limits[quantity], out);
    text_append_char(out, '}');
}

static void write_zero(const struct equipment_check *check,
                       const struct equipment_judgement *judgement, struct text *out)
{
    if (!check->zero_before.known) {
        return;
    }
    json_writer_name(out, "zero");
    text_append_char(out, '{');
    json_writer_string(out, "unit", equipment_quantity_unit(equipment_first_quantity(check->kind)));
    write_optional(out, "before", check->zero_before);
    write_optional(out, "after", check->zero_after);
    write_optional(out, "minutes", scaled(check->zero_hours, 60.0));
    write_optional(out, "drift", judgement->drift);
    write_optional(out, "drift_per_hour", judgement->drift_per_hour);
    text_append_char(out, '}');
}

static void write_note(const struct equipment_check *check, const struct equipment_note *note,
                       struct text *out)
{
    struct text words;
    text_init(&words, out->arena, out->limit);
    equipment_words_note(check, note, &words);
    json_writer_comma(out);
    text_append_char(out, '{');
    json_writer_string(out, "rule", equipment_rule_name(note->rule));
    json_writer_string(out, "quantity", equipment_quantity_name(note->quantity));
    if (note->rule == EQUIPMENT_RULE_POINT) {
        json_writer_number(out, "point", (double)note->point);
    }
    write_fine(out, "value", note->value);
    write_fine(out, "limit", note->limit);
    json_writer_string(out, "text", words.data);
    text_append_char(out, '}');
}

void equipment_judgement_write(const struct equipment_check *check,
                               const struct equipment_judgement *judgement, struct text *out)
{
    text_append(out, "{\"points\":[");
    for (size_t i = 0; i < check->point_count; i++) {
        write_point(&check->points[i], &judgement->points[i], out);
    }
    text_append(out, "],\"quantities\":{");
    for (int i = 0; i < EQUIPMENT_QUANTITY_COUNT; i++) {
        if (judgement->quantities[i].point_count > 0) {
            write_quantity(check, judgement, (enum equipment_quantity)i, out);
        }
    }
    text_append_char(out, '}');
    write_zero(check, judgement, out);
    text_append(out, ",\"notes\":[");
    for (size_t i = 0; i < judgement->note_count; i++) {
        write_note(check, &judgement->notes[i], out);
    }
    text_append(out, "]}");
}
