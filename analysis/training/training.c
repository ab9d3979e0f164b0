#include "analysis/training/training.h"

#include "analysis/criteria_emg.h"
#include "analysis/criteria_training.h"
#include "analysis/emg/emg_quality.h"
#include "analysis/measure.h"
#include "analysis/memory.h"
#include "analysis/series_copy.h"
#include "analysis/training/contraction.h"
#include "analysis/training/training_quality.h"
#include "analysis/units.h"

#include <math.h>

static const char no_long[] = "no contraction longer than 2 s was found";

/* Which command a contraction answers. */
struct answer {
    const struct command *command; /* NULL: none */
};

struct session {
    struct study *study;
    enum signal_kind signal;
    bool is_pressure;
    struct holds holds;
    struct commands commands;
    struct contraction_numbers *numbers; /* one for each contraction */
    struct answer *answers;              /* one for each contraction */
};

/* ---- The signal ---- */

static enum signal_kind choose_signal(const struct recording *recording)
{
    static const enum signal_kind order[] = {SIGNAL_EMG, SIGNAL_PURA, SIGNAL_PVAG, SIGNAL_PANAL};

    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        if (recording_channel(recording, order[i]) != NULL) {
            return order[i];
        }
    }
    return SIGNAL_NONE;
}

static bool open_emg(struct study *study, struct training_measures *measures,
                     struct series *ret_signal)
{
    struct envelope envelope;
    struct series input;

    if (!study_signal(study, SIGNAL_EMG, SERIES_ENDLESS, &input) ||
        !envelope_make(&input, study->recording->conditions.emg_form, study->memory, &envelope)) {
        return false;
    }
    *ret_signal = envelope.series;
    if (input.count > 0) {
        measures->signal = measure_word("emg", envelope_method(&envelope));
        measures->signal.part_count = 3;
        measures->signal.parts[0] = (struct named_number){"window_s", envelope.window_s};
        measures->signal.parts[1] = (struct named_number){"rate_hz", envelope.series.rate_hz};
        measures->signal.parts[2] = (struct named_number){"recorded_rate_hz", input.rate_hz};
        emg_quality_of_signal(study, &input, &envelope);
    }
    return true;
}

static bool in_cmh2o(struct study *study, enum signal_kind signal, struct series *series)
{
    double factor = 1.0;

    if (!units_factor(signal_unit(signal), "cm[H2O]", &factor) || fabs(factor - 1.0) <= 0.0) {
        return true;
    }
    double *converted = memory_doubles(study->memory, series->count);

    if (converted == NULL) {
        return false;
    }
    for (size_t i = 0; i < series->count; i++) {
        converted[i] = factor * series->samples[i];
    }
    series->samples = converted;
    return true;
}

static bool open_pressure(struct study *study, enum signal_kind signal,
                          struct training_measures *measures, struct series *ret_signal)
{
    struct series input;

    if (!study_signal(study, signal, SERIES_ENDLESS, &input)) {
        return false;
    }
    if (input.count > 0) {
        measures->signal =
            measure_word(signal_name(signal), "there is no EMG; amplitudes are in cmH2O");
        training_quality_of_pressure(study, signal, &input);
    }
    return series_copy_reduced(&input, CRITERIA_EMG_ENVELOPE_RATE_HZ, study->memory, ret_signal) &&
           in_cmh2o(study, signal, ret_signal);
}

/* ---- Numbers of the session ---- */

/* A value in the signal's unit: in one of two rows, the other says nothing. */
static void put(const struct session *session, struct measure value, struct measure *in_uv,
                struct measure *in_cmh2o_row)
{
    *(session->is_pressure ? in_cmh2o_row : in_uv) = value;
}

static void add_part(struct measure *measure, const char *code, double value)
{
    if (isfinite(value) && measure->part_count < MEASURE_PARTS_MAX) {
        measure->parts[measure->part_count++] = (struct named_number){code, value};
    }
}

static void measure_rest(const struct session *session, struct training_measures *measures)
{
    const struct robust *rest = &session->holds.rest;

    put(session, measure_of(rest->median, "median of what lies more than 1 s from any contraction"),
        &measures->rest_tone, &measures->rest_pressure);
    measures->rest_variability =
        rest->median > 0.0
            ? measure_of(100.0 * rest->sd / rest->median, "robust standard deviation over median")
            : measure_absent("the level at rest is not above zero");
}

static void measure_peak(const struct session *session, struct training_measures *measures)
{
    const struct contraction_numbers *best = NULL;

    for (size_t i = 0; i < session->holds.count; i++) {
        if (best == NULL || session->numbers[i].peak > best->peak) {
            best = &session->numbers[i];
        }
    }
    struct measure peak = measure_absent("no contraction was found");

    if (best != NULL) {
        peak = measure_at(best->peak, best->peak_s, "largest 0.1 s mean");
        add_part(&peak, "over_rest", best->peak - session->holds.rest.median);
    }
    put(session, peak, &measures->peak_best, &measures->peak_pressure);
}

static void measure_holds(const struct session *session, struct training_measures *measures)
{
    const double rest = session->holds.rest.median;
    double count = 0.0;
    double mean = 0.0;
    double hold_s = 0.0;
    double cv_count = 0.0;
    double cv = 0.0;

    for (size_t i = 0; i < session->holds.count; i++) {
        const struct contraction_numbers *numbers = &session->numbers[i];

        if (numbers->quick || isnan(numbers->mean)) {
            continue;
        }
        count += 1.0;
        mean += numbers->mean;
        hold_s += numbers->hold_s;
        if (!isnan(numbers->cv)) {
            cv_count += 1.0;
            cv += numbers->cv;
        }
    }
    measures->long_count = measure_of(count, "contractions longer than 2 s");
    if (!(count > 0.0)) {
        put(session, measure_absent(no_long), &measures->hold_mean, &measures->hold_pressure);
        measures->hold_mean_time = measure_absent(no_long);
        measures->hold_variability = measure_absent(no_long);
        return;
    }
    struct measure hold = measure_of(
        mean / count, "mean over long contractions of the mean from 2 s after the start (of the "
                      "command, where there is one) to the end of the command, else of the hold");

    add_part(&hold, "over_rest", mean / count - rest);
    if (rest > 0.0) {
        add_part(&hold, "ratio_to_rest", mean / count / rest);
    }
    put(session, hold, &measures->hold_mean, &measures->hold_pressure);
    measures->hold_mean_time =
        measure_of(hold_s / count, "time above half of each long contraction's net peak");
    measures->hold_variability =
        cv_count > 0.0 ? measure_of(cv / cv_count, "mean over long contractions of the standard "
                                                   "deviation of the hold over its mean")
                       : measure_absent("no long contraction has a hold");
}

static void measure_quick(const struct session *session, struct training_measures *measures)
{
    size_t most = 0;
    size_t inside = 0;
    size_t first = 0;
    double most_s = 0.0;

    for (size_t i = 0; i < session->holds.count; i++) {
        const double start_s = session->holds.spans[i].from_s;

        inside += session->numbers[i].quick && session->numbers[i].returned ? 1 : 0;
        while (session->holds.spans[first].from_s <= start_s - CRITERIA_TRAINING_COUNT_WINDOW_S) {
            inside -= session->numbers[first].quick && session->numbers[first].returned ? 1 : 0;
            first++;
        }
        if (inside > most) {
            most = inside;
            most_s = session->holds.spans[first].from_s;
        }
    }
    static const char method[] = "contractions of at most 2 s that return below half of their net "
                                 "peak: the most that start within any 10 s";

    measures->quick_count_10s =
        most > 0 ? measure_at((double)most, most_s, method) : measure_of(0.0, method);
}

static void measure_endurance(const struct session *session, struct training_measures *measures)
{
    size_t best = session->holds.count;

    for (size_t i = 0; i < session->holds.count; i++) {
        const double endurance_s = session->numbers[i].endurance_s;

        if (!isnan(endurance_s) &&
            (best == session->holds.count || endurance_s > session->numbers[best].endurance_s)) {
            best = i;
        }
    }
    if (best == session->holds.count) {
        measures->endurance = measure_absent(no_long);
        return;
    }
    measures->endurance =
        measure_at(session->numbers[best].endurance_s, session->holds.spans[best].from_s,
                   "longest time until the 2 s mean falls below 60 % of the largest level of the "
                   "first 2 s, above rest; at most the commanded time");
    if (session->answers[best].command != NULL && session->answers[best].command->bounded) {
        const struct span work = session->answers[best].command->work;

        add_part(&measures->endurance, "commanded_s", work.to_s - work.from_s);
    }
}

static void measure_commands(const struct session *session, struct training_measures *measures)
{
    const double ratio = commands_ratio(&session->commands);
    const struct command *last = NULL;
    size_t followed = 0;

    measures->work_rest_ratio =
        isnan(ratio)
            ? measure_absent("no work marker with a rest marker and another work marker "
                             "after it")
            : measure_of(ratio, "commanded time of work over that of rest, where both end");
    if (session->commands.count == 0) {
        measures->commands_followed = measure_absent("there are no work markers");
        return;
    }
    for (size_t i = 0; i < session->holds.count; i++) {
        followed +=
            session->answers[i].command != NULL && session->answers[i].command != last ? 1 : 0;
        last = session->answers[i].command != NULL ? session->answers[i].command : last;
    }
    measures->commands_followed =
        measure_of(100.0 * (double)followed / (double)session->commands.count,
                   "work markers during which a contraction was found, over all");
    add_part(&measures->commands_followed, "commanded", (double)session->commands.count);
    add_part(&measures->commands_followed, "followed", (double)followed);
}

static void measure_achieved(const struct session *session, struct training_measures *measures)
{
    const struct holds *holds = &session->holds;
    double work_s = 0.0;
    double rest_s = 0.0;

    for (size_t i = 0; i + 1 < holds->count; i++) {
        work_s += holds->spans[i].to_s - holds->spans[i].from_s;
        rest_s += holds->spans[i + 1].from_s - holds->spans[i].to_s;
    }
    measures->work_rest_achieved =
        rest_s > 0.0 ? measure_of(work_s / rest_s,
                                  "time of contractions over that of the pauses after them, the "
                                  "last contraction left out")
                     : measure_absent("fewer than two contractions with a pause between them");
}

static void measure_abdomen(const struct session *session, struct training_measures *measures)
{
    struct study *study = session->study;
    const struct level_scratch scratch = study->scratch;

    if (study->pabd.count == 0) {
        measures->abdominal_use = measure_absent("no abdominal pressure");
        return;
    }
    const size_t resting =
        holds_gather(&session->holds, &study->pabd, true, scratch.values, scratch.capacity);
    const double rest = level_median_of(scratch.values, resting);
    const size_t working =
        holds_gather(&session->holds, &study->pabd, false, scratch.values, scratch.capacity);
    double mean = 0.0;

    for (size_t i = 0; i < working; i++) {
        mean += scratch.values[i] / (double)working;
    }
    if (working == 0 || resting == 0) {
        measures->abdominal_use = measure_absent("no abdominal pressure both during contractions "
                                                 "and at rest");
    } else if (!(rest > 0.0)) {
        measures->abdominal_use =
            measure_absent("the abdominal pressure at rest is not above zero");
    } else {
        measures->abdominal_use =
            measure_of(mean / rest, "mean of pabd during contractions over its median at rest");
        add_part(&measures->abdominal_use, "rest_cmh2o", rest);
        add_part(&measures->abdominal_use, "rise_cmh2o", mean - rest);
    }
}

static bool list_contractions(const struct session *session, struct training_measures *measures)
{
    const struct holds *holds = &session->holds;
    struct training_contraction *items =
        memory_array(session->study->memory, holds->count, sizeof *items);

    if (items == NULL) {
        return false;
    }
    for (size_t i = 0; i < holds->count; i++) {
        const struct contraction_numbers *numbers = &session->numbers[i];
        const bool pressure = session->is_pressure;

        items[i] =
            (struct training_contraction){.start_s = holds->spans[i].from_s,
                                          .end_s = holds->spans[i].to_s,
                                          .peak_uv = pressure ? SERIES_MISSING : numbers->peak,
                                          .mean_uv = pressure ? SERIES_MISSING : numbers->mean,
                                          .peak_cmh2o = pressure ? numbers->peak : SERIES_MISSING,
                                          .mean_cmh2o = pressure ? numbers->mean : SERIES_MISSING,
                                          .hold_s = numbers->hold_s,
                                          .rise_time_s = numbers->rise_s,
                                          .release_time_s = numbers->release_s,
                                          .kind = numbers->quick ? "quick" : "long"};
    }
    measures->contractions = (struct item_list){
        .state = MEASURE_PRESENT,
        .count = holds->count,
        .items = items,
        .method = "above rest by 3 robust standard deviations of it and by 20 % of the session's "
                  "best, for at least 0.5 s; quick: at most 2 s"};
    return true;
}

/* ---- Putting together ---- */

static void all_absent(const struct session *session, const char *reason,
                       struct training_measures *measures)
{
    const struct measure absent = measure_absent(reason);
    const struct measure signal = measures->signal;

    *measures = (struct training_measures){
        .signal = signal.state == MEASURE_PRESENT ? signal : absent,
        .rest_variability = absent,
        .hold_variability = absent,
        .hold_mean_time = absent,
        .quick_count_10s = absent,
        .long_count = absent,
        .endurance = absent,
        .work_rest_ratio = absent,
        .work_rest_achieved = absent,
        .commands_followed = absent,
        .abdominal_use = absent,
        .contractions = {.state = MEASURE_ABSENT, .reason = reason},
    };
    put(session, absent, &measures->rest_tone, &measures->rest_pressure);
    put(session, absent, &measures->peak_best, &measures->peak_pressure);
    put(session, absent, &measures->hold_mean, &measures->hold_pressure);
}

static bool measure_contractions(struct session *session)
{
    const struct holds *holds = &session->holds;
    const struct series *signal = &holds->signal;
    const double end_s = series_time(signal, signal->count - 1);
    size_t cursor = 0;

    session->numbers = memory_array(session->study->memory, holds->count, sizeof *session->numbers);
    session->answers = memory_array(session->study->memory, holds->count, sizeof *session->answers);
    if (session->numbers == NULL || session->answers == NULL ||
        !commands_read(session->study, end_s, &session->commands)) {
        return false;
    }
    for (size_t i = 0; i < holds->count; i++) {
        session->answers[i].command = commands_for(&session->commands, holds->spans[i], &cursor);
        session->numbers[i] = contraction_measure(holds, i, session->answers[i].command);
    }
    return true;
}

/* What is counted or averaged over the session. */
static void rest_on_session(const struct series *signal, struct training_measures *measures)
{
    struct measure *const all[] = {
        &measures->rest_tone,          &measures->rest_pressure,     &measures->rest_variability,
        &measures->hold_mean,          &measures->hold_pressure,     &measures->hold_variability,
        &measures->hold_mean_time,     &measures->long_count,        &measures->work_rest_ratio,
        &measures->work_rest_achieved, &measures->commands_followed, &measures->abdominal_use};

    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        measure_rest_on(all[i], signal->start_s, series_time(signal, signal->count - 1));
    }
}

bool training_measure(struct study *study, struct training_measures *measures)
{
    struct session session = {.study = study, .signal = choose_signal(study->recording)};
    struct series signal = {.rate_hz = 1.0};

    session.is_pressure = session.signal != SIGNAL_EMG && session.signal != SIGNAL_NONE;
    if (session.signal != SIGNAL_NONE &&
        !(session.is_pressure ? open_pressure(study, session.signal, measures, &signal)
                              : open_emg(study, measures, &signal))) {
        return false;
    }
    if (signal.count == 0) {
        all_absent(&session, "no usable EMG, pura, pvag or panal signal", measures);
        return true;
    }
    if (!holds_find(&signal, study->memory, &session.holds)) {
        return false;
    }
    training_quality_of_session(study, session.signal, &session.holds);
    if (session.holds.rest.count == 0) {
        all_absent(&session, "hardly any rest was recorded", measures);
        return true;
    }
    if (!measure_contractions(&session) || !list_contractions(&session, measures)) {
        return false;
    }
    measure_rest(&session, measures);
    measure_peak(&session, measures);
    measure_holds(&session, measures);
    measure_quick(&session, measures);
    measure_endurance(&session, measures);
    measure_commands(&session, measures);
    measure_achieved(&session, measures);
    measure_abdomen(&session, measures);
    rest_on_session(&session.holds.signal, measures);
    return true;
}
