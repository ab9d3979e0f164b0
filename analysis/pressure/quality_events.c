#include "analysis/criteria_quality.h"
#include "analysis/pressure/quality_lines.h"
#include "analysis/quality_spans.h"

#include <math.h>

static bool lasts(const struct pressure_event *event)
{
    const double length_s = event->span.to_s - event->span.from_s;

    switch (event->kind) {
    case PRESSURE_EVENT_FLUSH:
        return length_s >= CRITERIA_FLUSH_TOLD_S;
    case PRESSURE_EVENT_RECTAL:
        return length_s <= CRITERIA_RECTAL_TOLD_S;
    case PRESSURE_EVENT_COUGH:
    case PRESSURE_EVENT_STRAIN:
    case PRESSURE_EVENT_POSITION:
    case PRESSURE_EVENT_RESTLESS:
    default:
        return true;
    }
}

bool quality_lines_event(const struct pressure_lines *lines, enum pressure_event_kind kind,
                         struct span span)
{
    const struct pressure_events *events = &lines->study->pressure_events;

    for (size_t i = 0; i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];

        if (event->kind == kind && event->span.from_s <= span.to_s &&
            event->span.to_s >= span.from_s && lasts(event)) {
            return true;
        }
    }
    return false;
}

static const struct quality_finding *finding_for(const struct pressure_event *event)
{
    static const struct quality_finding rectal = {
        .code = "rectal_contraction",
        .severity = QUALITY_INFO,
        .signal = SIGNAL_PABD,
        .text = "Abdominal pressure changes alone here, as a contraction of the rectum does, and "
                "pdet shows its mirror image. It is no change of the detrusor: look at pves."};
    static const struct quality_finding flush_pves = {
        .code = "flush",
        .severity = QUALITY_WARNING,
        .signal = SIGNAL_PVES,
        .text = "The bladder line alone is far up on a plateau, as when it is flushed. Values read "
                "here are no pressures of the patient: set markers outside it."};
    static const struct quality_finding flush_pabd = {
        .code = "flush",
        .severity = QUALITY_WARNING,
        .signal = SIGNAL_PABD,
        .text = "The abdominal line alone is far up on a plateau, as when it is flushed. Values "
                "read here, pdet among them, are none of the patient: set markers outside it."};
    static const struct quality_finding position = {
        .code = "position_unmarked",
        .severity = QUALITY_WARNING,
        .signal = SIGNAL_NONE,
        .text =
            "Both pressures go to another level for good, as when the patient changes position, "
            "and there is no position_change marker. If so, set one, and check that the "
            "transducers were brought to the level of the symphysis again."};

    switch (event->kind) {
    case PRESSURE_EVENT_RECTAL:
        return &rectal;
    case PRESSURE_EVENT_FLUSH:
        return event->pves_rise_cmh2o > event->pabd_rise_cmh2o || isnan(event->pabd_rise_cmh2o)
                   ? &flush_pves
                   : &flush_pabd;
    case PRESSURE_EVENT_POSITION:
        return event->marked ? NULL : &position;
    case PRESSURE_EVENT_COUGH:
    case PRESSURE_EVENT_STRAIN:
    case PRESSURE_EVENT_RESTLESS:
    default:
        return NULL;
    }
}

/* One list a kind of finding: flushes of both lines share theirs. */
static void note_kind(const struct pressure_lines *lines, enum pressure_event_kind kind,
                      const char *text_rest)
{
    const struct pressure_events *events = &lines->study->pressure_events;
    /* While somebody voids, pabd relaxes and presses as it likes. */
    const struct span within = kind == PRESSURE_EVENT_FLUSH ? lines->watched : lines->passive;
    struct quality_spans spans = {.outcome = &lines->study->outcome, .text_rest = text_rest};

    for (size_t i = 0; i < events->count; i++) {
        const struct pressure_event *event = &events->items[i];
        const struct quality_finding *finding = event->kind == kind ? finding_for(event) : NULL;

        if (finding != NULL && lasts(event) && event->span.to_s >= within.from_s &&
            event->span.from_s <= within.to_s) {
            spans.finding = *finding;
            quality_spans_add(&spans, event->span);
        }
    }
    quality_spans_close(&spans);
}

void quality_of_events(const struct pressure_lines *lines)
{
    note_kind(lines, PRESSURE_EVENT_RECTAL,
              "Abdominal pressure changes alone at several further places within this span: "
              "contractions of the rectum. Look at pves.");
    note_kind(lines, PRESSURE_EVENT_FLUSH,
              "A line is far up on a plateau at several further places within this span, as when "
              "it is flushed. Set markers outside them.");
    note_kind(lines, PRESSURE_EVENT_POSITION,
              "Both pressures go to another level at several further places within this span. Set "
              "position_change markers, and check the height of the transducers.");
}
