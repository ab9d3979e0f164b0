#include "formats/equipment_words.h"

#include "formats/json_writer.h"

static const char *const printed_units[] = {
    [EQUIPMENT_PRESSURE] = "cmH\u2082O", [EQUIPMENT_FLOW] = "mL/s",  [EQUIPMENT_VOLUME] = "mL",
    [EQUIPMENT_RATE] = "mL/min",         [EQUIPMENT_SPEED] = "mm/s", [EQUIPMENT_LENGTH] = "mm",
    [EQUIPMENT_AMPLITUDE] = "\u00b5V",   [EQUIPMENT_MASS] = "g",
};

static const char *const verdicts[] = {
    [EQUIPMENT_PASSED] = "Passed.",
    [EQUIPMENT_FAILED] = "Failed.",
    [EQUIPMENT_INCOMPLETE] = "Incomplete.",
    [EQUIPMENT_NOT_JUDGED] = "Not judged.",
};

static void append_amount(struct text *out, double value, enum equipment_quantity quantity)
{
    json_writer_rounded(out, value);
    text_append_char(out, ' ');
    text_append(out, printed_units[quantity]);
}

static void append_point(const struct equipment_check *check, const struct equipment_note *note,
                         struct text *out)
{
    const struct equipment_point *point = &check->points[note->point];
    append_amount(out, point->applied, note->quantity);
    text_append(out, " applied was read as ");
    append_amount(out, point->reading, note->quantity);
    text_append(out, ": an error of ");
    append_amount(out, note->value.value, note->quantity);
    text_append(out, ", of which ");
    append_amount(out, note->limit.value, note->quantity);
    text_append(out, " would pass.");
}

static void append_against(const char *what, const struct equipment_note *note, bool has_unit,
                           const char *how, struct text *out)
{
    text_append(out, what);
    json_writer_rounded(out, note->value.value);
    text_printf(out, "%s%s%s", has_unit ? " " : "", has_unit ? printed_units[note->quantity] : "",
                how);
    json_writer_rounded(out, note->limit.value);
}

void equipment_words_note(const struct equipment_check *check, const struct equipment_note *note,
                          struct text *out)
{
    const char *name = equipment_quantity_name(note->quantity);
    switch (note->rule) {
    case EQUIPMENT_RULE_POINT:
        append_point(check, note, out);
        return;
    case EQUIPMENT_RULE_HYSTERESIS:
        append_against("Readings from above and below differ by ", note, true,
                       ", which is more than ", out);
        text_append_char(out, '.');
        return;
    case EQUIPMENT_RULE_MISSING:
        text_printf(out, "No %s was applied and read.", name);
        return;
    case EQUIPMENT_RULE_COLUMN:
        text_append(out, "Pressure has to be read at 0 and at 50 cmH\u2082O or more.");
        return;
    case EQUIPMENT_RULE_NO_LIMIT:
        text_printf(out, "There is no limit for the %s that was applied.", name);
        return;
    case EQUIPMENT_RULE_GAIN:
        append_against("The gain is ", note, false,
                       note->value.value < note->limit.value ? ", below " : ", above ", out);
        text_append(out, ": a calibration is needed.");
        return;
    case EQUIPMENT_RULE_OFFSET:
        append_against("The offset is ", note, true, ", beyond ", out);
        text_append(out, ": a calibration is needed.");
        return;
    case EQUIPMENT_RULE_DRIFT:
        append_against("Zero moved by ", note, true, "; wanted is less than ", out);
        text_append_char(out, '.');
        return;
    case EQUIPMENT_RULE_COUNT:
        return;
    }
}

static void append_points(const struct equipment_check *check,
                          const struct equipment_judgement *judgement, struct text *out)
{
    size_t limited = 0;
    size_t outside = 0;
    for (size_t i = 0; i < check->point_count; i++) {
        limited += judgement->points[i].outcome != EQUIPMENT_NO_LIMIT ? 1 : 0;
        outside += judgement->points[i].outcome == EQUIPMENT_OUTSIDE ? 1 : 0;
    }
    if (limited == 0) {
        return;
    }
    if (outside > 0) {
        text_printf(out, " %zu of %zu points %s outside the limits.", outside, limited,
                    outside == 1 ? "is" : "are");
    } else if (limited == 1) {
        text_append(out, " The point is within its limits.");
    } else {
        text_printf(out, " All %zu points are within their limits.", limited);
    }
}

void equipment_words_append(const struct equipment_check *check,
                            const struct equipment_judgement *judgement, struct text *out)
{
    text_append(out, verdicts[judgement->verdict]);
    append_points(check, judgement, out);
    for (size_t i = 0; i < judgement->note_count; i++) {
        text_append_char(out, ' ');
        equipment_words_note(check, &judgement->notes[i], out);
    }
}
