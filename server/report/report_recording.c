#include "report/report_labels.h"
#include "report/report_parts.h"
#include "report/report_text.h"

#include <math.h>
#include <string.h>

static const char *answer_word(enum patient_answer answer)
{
    if (answer == ANSWER_UNKNOWN) {
        return NULL;
    }
    return answer == ANSWER_YES ? "yes" : "no";
}

static void add_numbers(const struct report_maker *maker, const struct conditions *given)
{
    report_number_fact(maker, "Residual before filling", given->initial_residual_ml, "mL");
    report_number_fact(maker, "Filling rate set", given->filling_rate_ml_min, "mL/min");
    report_number_fact(maker, "Flow delay set", given->flow_delay_s, "s");
    report_number_fact(maker, "Post-void residual", given->post_void_residual_ml, "mL");
    report_number_fact(maker, "Maximum flow rate of a free flow", given->free_qmax_ml_s, "mL/s");
    report_number_fact(maker, "Puller speed", given->puller_speed_mm_s, "mm/s");
    report_number_fact(maker, "Balloon expulsion time", given->balloon_expulsion_s, "s");
    report_number_fact(maker, "Distance between anal sensors", given->anal_sensor_spacing_mm, "mm");
    report_fact(maker, "Neurological lesion known", answer_word(given->neurological_lesion));
    report_fact(maker, "Electromyogram as sent", emg_form_name(given->emg_form));
}

static const char *duration_words(const struct report_maker *maker, double duration_s)
{
    enum { SECONDS_A_MINUTE = 60 };

    long seconds = lround(duration_s);
    return seconds < SECONDS_A_MINUTE
               ? arena_printf(maker->arena, "%ld s", seconds)
               : arena_printf(maker->arena, "%ld min %ld s", seconds / SECONDS_A_MINUTE,
                              seconds % SECONDS_A_MINUTE);
}

static void add_conditions(const struct report_maker *maker, size_t index)
{
    const struct recording_row *row = maker->report->recordings[index].row;
    struct document_conditions given;
    report_fact(maker, "Duration", duration_words(maker, row->duration_s));
    if (!report_conditions(maker, index, &given)) {
        document_words(maker->document, DOCUMENT_PLAIN,
                       "The conditions of this recording are not available.");
        return;
    }
    report_person_fact(maker, "Position", given.position);
    report_person_fact(maker, "Reference level", given.reference_level);
    report_person_fact(maker, "Zeroed to", given.zeroed);
    add_numbers(maker, &given.numbers);
}

void report_figures(const struct report_maker *maker, size_t index, const char *section)
{
    const struct report_recording *recording = &maker->report->recordings[index];
    for (size_t i = 0; i < recording->figure_count; i++) {
        if (strcmp(recording->figures[i].section, section) == 0) {
            document_figure(maker->document, &recording->figures[i].figure);
        }
    }
}

void report_recording_part(const struct report_maker *maker, size_t index)
{
    const struct recording_row *row = maker->report->recordings[index].row;
    const json_t *analysis = maker->analyses[index];
    document_heading(maker->document, 2,
                     arena_printf(maker->arena, "%s, %s", report_recording_name(maker, index),
                                  report_time(maker->arena, row->started_at_us)));
    add_conditions(maker, index);
    report_figures(maker, index, "");
    if (maker->report->recordings[index].has_no_room) {
        document_words(maker->document, DOCUMENT_PLAIN,
                       arena_printf(maker->arena,
                                    "The figures of this recording are left out: a report has "
                                    "those of %d recordings.",
                                    REPORT_FIGURED_RECORDINGS_MOST));
    }
    if (analysis == NULL) {
        document_words(maker->document, DOCUMENT_PLAIN,
                       "The analysis of this recording is not available.");
        return;
    }
    report_sections(maker, index);
    report_remarks(maker, analysis);
}
