#include "formats/display.h"

#include <math.h>
#include <string.h>

enum { STEP_DECIMALS_MAX = 3 };

struct unit_name {
    const char *ucum;
    const char *display;
};

static const struct unit_name unit_names[] = {
    {"1", ""},
    {"cm[H2O]", "cmH\u2082O"},
    {"mm[Hg]", "mmHg"},
    {"mL/cm[H2O]", "mL/cmH\u2082O"},
    {"mL/mm[Hg]", "mL/mmHg"},
    {"cm[H2O].cm", "cmH\u2082O\u00b7cm"},
    {"cm[H2O].s/mL", "cmH\u2082O\u00b7s/mL"},
    {"uV", "\u00b5V"},
    {"uV/min", "\u00b5V/min"},
    {"W/m2", "W/m\u00b2"},
    {"uW/mm2", "\u00b5W/mm\u00b2"},
};

const char *display_unit(const char *ucum)
{
    for (size_t i = 0; ucum != NULL && i < sizeof unit_names / sizeof unit_names[0]; i++) {
        if (strcmp(ucum, unit_names[i].ucum) == 0) {
            return unit_names[i].display;
        }
    }
    return ucum == NULL ? "" : ucum;
}

/* Decimals that a multiple of `step` needs: 0.1 needs one, 10 needs none. */
static int step_decimals(double step)
{
    double scaled = step;
    for (int decimals = 0; decimals < STEP_DECIMALS_MAX; decimals++) {
        if (fabs(scaled - round(scaled)) < 1e-9) {
            return decimals;
        }
        scaled *= 10.0;
    }
    return STEP_DECIMALS_MAX;
}

void display_rounded(struct text *out, double step, double value)
{
    double rounded = catalogue_rounded_to(step, value);
    if (!(fabs(rounded) > 0.0)) {
        rounded = 0.0; /* never "-0" */
    }
    text_printf(out, "%.*f", step_decimals(step), rounded);
}

void display_number(struct text *out, const struct catalogue_row *row, double value)
{
    display_rounded(out, row->report_step, value);
}

struct signal_words {
    const char *symbol;
    const char *name;
};

static const struct signal_words signal_words[SIGNAL_COUNT] = {
    [SIGNAL_PVES] = {"pves", "Vesical pressure"},
    [SIGNAL_PABD] = {"pabd", "Abdominal pressure"},
    [SIGNAL_PDET] = {"pdet", "Detrusor pressure"},
    [SIGNAL_PURA] = {"pura", "Urethral pressure"},
    [SIGNAL_FLOW] = {"Q", "Flow rate"},
    [SIGNAL_VVOID] = {"Vvoid", "Voided volume"},
    [SIGNAL_VINF] = {"Vinf", "Infused volume"},
    [SIGNAL_EMG] = {"EMG", "Electromyogram"},
    [SIGNAL_PULLER] = {"Puller", "Withdrawn length"},
    [SIGNAL_PRECT] = {"prect", "Rectal pressure"},
    [SIGNAL_PANAL] = {"panal", "Anal canal pressure"},
    [SIGNAL_PANAL1] = {"panal1", "Anal canal pressure 1"},
    [SIGNAL_PANAL2] = {"panal2", "Anal canal pressure 2"},
    [SIGNAL_PANAL3] = {"panal3", "Anal canal pressure 3"},
    [SIGNAL_PANAL4] = {"panal4", "Anal canal pressure 4"},
    [SIGNAL_PANAL5] = {"panal5", "Anal canal pressure 5"},
    [SIGNAL_PANAL6] = {"panal6", "Anal canal pressure 6"},
    [SIGNAL_PANAL7] = {"panal7", "Anal canal pressure 7"},
    [SIGNAL_PANAL8] = {"panal8", "Anal canal pressure 8"},
    [SIGNAL_PANAL9] = {"panal9", "Anal canal pressure 9"},
    [SIGNAL_PANAL10] = {"panal10", "Anal canal pressure 10"},
    [SIGNAL_PANAL11] = {"panal11", "Anal canal pressure 11"},
    [SIGNAL_PANAL12] = {"panal12", "Anal canal pressure 12"},
    [SIGNAL_BALLOON] = {"Balloon", "Balloon volume"},
    [SIGNAL_PVAG] = {"pvag", "Vaginal pressure"},
};

const char *display_signal_symbol(enum signal_kind signal)
{
    return signal_words[signal].symbol;
}

const char *display_signal_name(enum signal_kind signal)
{
    return signal_words[signal].name;
}

static const char *const event_words[EVENT_CODE_COUNT] = {
    [EVENT_FIRST_SENSATION] = "First sensation",
    [EVENT_FIRST_DESIRE] = "First desire",
    [EVENT_STRONG_DESIRE] = "Strong desire",
    [EVENT_URGENCY] = "Urgency",
    [EVENT_PAIN] = "Pain",
    [EVENT_FILLING_START] = "Filling starts",
    [EVENT_FILLING_STOP] = "Filling stops",
    [EVENT_PERMISSION_TO_VOID] = "Permission to void",
    [EVENT_VOID_START] = "Voiding starts",
    [EVENT_VOID_END] = "Voiding ends",
    [EVENT_COUGH] = "Cough",
    [EVENT_VALSALVA] = "Valsalva",
    [EVENT_LEAK] = "Leak",
    [EVENT_POSITION_CHANGE] = "Position change",
    [EVENT_ZERO] = "Zero",
    [EVENT_FLUSH] = "Flush",
    [EVENT_PULL_START] = "Pull starts",
    [EVENT_PULL_END] = "Pull ends",
    [EVENT_SQUEEZE] = "Squeeze",
    [EVENT_LONG_SQUEEZE] = "Long squeeze",
    [EVENT_PUSH] = "Push",
    [EVENT_BALLOON] = "Balloon",
    [EVENT_WORK] = "Work",
    [EVENT_REST] = "Rest",
    [EVENT_COMMENT] = "Comment",
};

const char *display_event_name(const char *code)
{
    const enum event_code known = code == NULL ? EVENT_OTHER : event_code_from_name(code);
    return event_words[known]; /* NULL for EVENT_OTHER */
}

void display_words(struct text *out, const char *code)
{
    for (const char *at = code; *at != '\0'; at++) {
        const char letter = *at == '_' ? ' ' : *at;
        const bool is_first = at == code && letter >= 'a' && letter <= 'z';
        text_append_char(out, is_first ? (char)(letter - 'a' + 'A') : letter);
    }
}

void display_event(struct text *out, const struct document_event *event)
{
    const char *name = display_event_name(event->code);
    if (name != NULL) {
        text_append(out, name);
    } else {
        display_words(out, event->code);
    }
    if (event->value.known) {
        text_append_char(out, ' ');
        text_append_number(out, event->value.value);
        text_append(out, event_code_from_name(event->code) == EVENT_BALLOON ? "\u00a0mL" : "");
    }
}
