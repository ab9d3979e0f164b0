/* Writes a made-up pressure-flow study of 8 channels to stdout, in the form that is asked for. The
 * same numbers in every form, and in every run. They are of realistic length and shape, lie on the
 * grid of a usual amplifier and are not anyone's.
 *
 *   documents FORM RATE_HZ LENGTH_S [PIECE_S]
 *
 * FORM: decimals, int16, float32 (JSON); edf; csv; codes: the int16 alone, a channel after the
 * other; pieces: the opening on the first line, then a piece of PIECE_S a line. RATE_HZ: 1, 10, 100
 * or 1000, so that times have short decimals. */
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CHANNELS = 8, EVENTS = 5, ANNOTATION_BYTES = 120 };

enum { PVES, PABD, PDET, PURA, FLOW, VVOID, VINF, EMG };

static const struct {
    const char *signal;
    const char *unit;
    const char *dimension; /* as EDF spells the unit */
    int decimals;          /* of the grid: value = code / 10^decimals */
} channels[CHANNELS] = {
    [PVES] = {"pves", "cm[H2O]", "cmH2O", 1}, [PABD] = {"pabd", "cm[H2O]", "cmH2O", 1},
    [PDET] = {"pdet", "cm[H2O]", "cmH2O", 1}, [PURA] = {"pura", "cm[H2O]", "cmH2O", 1},
    [FLOW] = {"flow", "mL/s", "mL/s", 2},     [VVOID] = {"vvoid", "mL", "mL", 1},
    [VINF] = {"vinf", "mL", "mL", 1},         [EMG] = {"emg", "uV", "uV", 2},
};

struct study {
    int rate_hz;
    int length_s;
    size_t count; /* samples of a channel */
    int16_t *codes[CHANNELS];
};

static const char *const event_codes[EVENTS] = {"filling_start", "first_sensation", "strong_desire",
                                                "filling_stop", "permission_to_void"};

/* ---- the numbers ---- */

/* Standard deviation of the pressures' noise, cm[H2O]: one step of their grid. */
static const double PRESSURE_NOISE_CMH2O = 0.1;
static const double FILLED_ML = 450.0;

static void fail(const char *what)
{
    fprintf(stderr, "documents: %s\n", what);
    _Exit(EXIT_FAILURE);
}

/* Nearly normal, standard deviation 1: the sum of four uniform numbers has a variance of 1/3. The
 * generator is Knuth's (MMIX). */
static double noise(uint64_t *state)
{
    double sum = 0.0;
    for (int i = 0; i < 4; i++) {
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(*state >> 40) / 16777216.0 - 0.5;
    }
    return sum * 1.7320508075688772;
}

static double bump(double at_s, double centre_s, double width_s)
{
    double x = (at_s - centre_s) / width_s;
    return x > -5.0 && x < 5.0 ? exp(-x * x) : 0.0;
}

static int event_time_s(const struct study *study, int event)
{
    static const double parts[EVENTS] = {0.0, 1.0 / 3.0, 7.0 / 9.0, 5.0 / 6.0, 5.0 / 6.0};
    return (int)(parts[event] * study->length_s) + (event == EVENTS - 1 ? 10 : 0);
}

/* Coughs every minute and breathing. */
static double abdominal(double at_s)
{
    return 30.0 + 0.8 * sin(at_s * 1.6) + 55.0 * bump(fmod(at_s, 60.0), 30.0, 0.3);
}

static double flow_at(double since_permission_s)
{
    return 18.0 * bump(since_permission_s, 30.0, 10.0);
}

static int16_t code_of(double value, int channel)
{
    return (int16_t)lrint(value * (channels[channel].decimals == 1 ? 10.0 : 100.0));
}

static void make_numbers(struct study *study)
{
    uint64_t state = 20240229;
    double voided_ml = 0.0;
    double filled_s = event_time_s(study, 3);
    double permission_s = event_time_s(study, 4);
    for (size_t i = 0; i < study->count; i++) {
        double at_s = (double)i / study->rate_hz;
        double flow_ml_s = flow_at(at_s - permission_s);
        double filled = at_s < filled_s ? at_s / filled_s : 1.0;
        double detrusor = 3.0 + 7.0 * filled + 20.0 * bump(at_s, 0.6 * filled_s, 12.0) +
                          45.0 * bump(at_s - permission_s, 29.0, 18.0);
        double abdomen = abdominal(at_s);
        voided_ml += flow_ml_s / study->rate_hz;
        study->codes[PVES][i] =
            code_of(abdomen + detrusor + PRESSURE_NOISE_CMH2O * noise(&state), PVES);
        study->codes[PABD][i] = code_of(abdomen + PRESSURE_NOISE_CMH2O * noise(&state), PABD);
        study->codes[PDET][i] = (int16_t)(study->codes[PVES][i] - study->codes[PABD][i]);
        study->codes[PURA][i] = code_of(60.0 + PRESSURE_NOISE_CMH2O * noise(&state), PURA);
        study->codes[FLOW][i] = code_of(fmax(0.0, flow_ml_s), FLOW);
        study->codes[VVOID][i] = code_of(voided_ml, VVOID);
        study->codes[VINF][i] = code_of(FILLED_ML * filled, VINF);
        study->codes[EMG][i] = code_of(10.0 + 1.5 * noise(&state), EMG);
    }
}

/* ---- JSON ---- */

static void put_number(int code, int decimals)
{
    int power = decimals == 1 ? 10 : 100;
    int size = abs(code);
    printf("%s%d.%0*d", code < 0 ? "-" : "", size / power, decimals, size % power);
}

static void put_base64(const uint8_t *bytes, size_t length)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t at = 0; at < length; at += 3) {
        size_t left = length - at;
        uint32_t word = (uint32_t)bytes[at] << 16 | (left > 1 ? (uint32_t)bytes[at + 1] << 8 : 0) |
                        (left > 2 ? (uint32_t)bytes[at + 2] : 0);
        char group[4] = {digits[word >> 18], digits[word >> 12 & 63],
                         left > 1 ? digits[word >> 6 & 63] : '=',
                         left > 2 ? digits[word & 63] : '='};
        fwrite(group, 1, sizeof group, stdout);
    }
}

static void put_decimals(const int16_t *codes, size_t count, int decimals)
{
    printf("\"samples\":[");
    for (size_t i = 0; i < count; i++) {
        if (i > 0) {
            putchar(',');
        }
        put_number(codes[i], decimals);
    }
    putchar(']');
}

static void put_int16(const int16_t *codes, size_t count, int decimals)
{
    printf("\"encoding\":\"int16\",\"scale\":%s,\"offset\":0,\"data\":\"",
           decimals == 1 ? "0.1" : "0.01");
    put_base64((const uint8_t *)codes, count * sizeof *codes);
    putchar('"');
}

static void put_float32(const int16_t *codes, size_t count, int decimals)
{
    float *values = calloc(count, sizeof *values);
    if (values == NULL) {
        fail("out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        values[i] = (float)(codes[i] / (decimals == 1 ? 10.0 : 100.0));
    }
    printf("\"encoding\":\"float32\",\"data\":\"");
    put_base64((const uint8_t *)values, count * sizeof *values);
    putchar('"');
    free(values);
}

static void put_events(const struct study *study, double from_s, double to_s)
{
    const char *separator = "";
    printf("\"events\":[");
    for (int e = 0; e < EVENTS; e++) {
        int at_s = event_time_s(study, e);
        if (at_s >= from_s && at_s < to_s) {
            printf("%s{\"at_s\":%d,\"code\":\"%s\"}", separator, at_s, event_codes[e]);
            separator = ",";
        }
    }
    putchar(']');
}

/* Up to where the samples of a channel stand. */
static void put_channel_head(const struct study *study, int channel)
{
    printf("%s{\"signal\":\"%s\",\"unit\":\"%s\",\"rate_hz\":%d,\"start_s\":0",
           channel == 0 ? "" : ",", channels[channel].signal, channels[channel].unit,
           study->rate_hz);
}

static void put_head(void)
{
    printf("{\"type\":\"pressure_flow\",\"started_at\":\"2024-02-29T09:00:00Z\","
           "\"conditions\":{\"position\":\"sitting\",\"post_void_residual_ml\":20},\"channels\":[");
}

typedef void put_samples(const int16_t *codes, size_t count, int decimals);

static void put_json(const struct study *study, put_samples *put)
{
    put_head();
    for (int c = 0; c < CHANNELS; c++) {
        put_channel_head(study, c);
        putchar(',');
        put(study->codes[c], study->count, channels[c].decimals);
        putchar('}');
    }
    printf("],");
    put_events(study, 0.0, study->length_s);
    putchar('}');
}

static void put_pieces(const struct study *study, int piece_s)
{
    put_head();
    for (int c = 0; c < CHANNELS; c++) {
        put_channel_head(study, c);
        putchar('}');
    }
    printf("]}\n");
    size_t length = (size_t)piece_s * (size_t)study->rate_hz;
    for (size_t first = 0; first < study->count; first += length) {
        size_t left = study->count - first;
        printf("{\"channels\":[");
        for (int c = 0; c < CHANNELS; c++) {
            printf("%s{\"signal\":\"%s\",\"first\":%zu,", c == 0 ? "" : ",", channels[c].signal,
                   first);
            put_int16(study->codes[c] + first, left < length ? left : length, channels[c].decimals);
            putchar('}');
        }
        printf("],");
        double from_s = (double)first / study->rate_hz;
        put_events(study, from_s, from_s + piece_s);
        printf("}\n");
    }
}

/* ---- CSV ---- */

static void put_csv(const struct study *study)
{
    printf("time_s");
    for (int c = 0; c < CHANNELS; c++) {
        printf(",%s [%s]", channels[c].signal, channels[c].unit);
    }
    printf(",events\n");
    int next = 0;
    for (size_t i = 0; i < study->count; i++) {
        size_t rate = (size_t)study->rate_hz;
        printf("%zu.%0*zu", i / rate,
               rate == 1000  ? 3
               : rate == 100 ? 2
                             : 1,
               rate == 1 ? 0 : i % rate);
        for (int c = 0; c < CHANNELS; c++) {
            putchar(',');
            put_number(study->codes[c][i], channels[c].decimals);
        }
        bool event = next < EVENTS && i == (size_t)event_time_s(study, next) * rate;
        printf(",%s\n", event ? event_codes[next] : "");
        next += event ? 1 : 0;
    }
}

/* ---- EDF+, records of one second (Kemp and Olivan 2003) ---- */

static void put_field(const char *text, int width)
{
    printf("%-*.*s", width, width, text);
}

static void put_count(long number, int width)
{
    char text[24];
    snprintf(text, sizeof text, "%ld", number);
    put_field(text, width);
}

static void put_edf_header(const struct study *study)
{
    put_field("0", 8);
    put_field("X X X X", 80);
    put_field("Startdate 29-FEB-2024 X X X", 80);
    put_field("29.02.24", 8);
    put_field("09.00.00", 8);
    put_count(256L * (CHANNELS + 2), 8);
    put_field("EDF+C", 44);
    put_count(study->length_s, 8);
    put_field("1", 8);
    put_count(CHANNELS + 1, 4);
}

/* What a field of the header says of a channel. */
enum edf_field { LABEL, DIMENSION, PHYSICAL_MIN, PHYSICAL_MAX, DIGITAL_MIN, DIGITAL_MAX, BLANK };

static void put_edf_field(enum edf_field field, int width)
{
    for (int c = 0; c <= CHANNELS; c++) {
        bool annotations = c == CHANNELS;
        bool fine = !annotations && channels[c].decimals == 2;
        const char *texts[] = {
            [LABEL] = annotations ? "EDF Annotations" : channels[c].signal,
            [DIMENSION] = annotations ? "" : channels[c].dimension,
            [PHYSICAL_MIN] = annotations ? "-1"
                             : fine      ? "-327.68"
                                         : "-3276.8",
            [PHYSICAL_MAX] = annotations ? "1"
                             : fine      ? "327.67"
                                         : "3276.7",
            [DIGITAL_MIN] = "-32768",
            [DIGITAL_MAX] = "32767",
            [BLANK] = "",
        };
        put_field(texts[field], width);
    }
}

static void put_edf_annotations(const struct study *study, int record)
{
    char list[ANNOTATION_BYTES] = {0};
    int length = snprintf(list, sizeof list, "+%d\x14\x14", record) + 1;
    for (int e = 0; e < EVENTS; e++) {
        if (event_time_s(study, e) == record) {
            length += snprintf(list + length, sizeof list - (size_t)length, "+%d\x14%s\x14", record,
                               event_codes[e]) +
                      1;
        }
    }
    fwrite(list, 1, sizeof list, stdout);
}

static void put_edf(const struct study *study)
{
    put_edf_header(study);
    put_edf_field(LABEL, 16);
    put_edf_field(BLANK, 80);
    put_edf_field(DIMENSION, 8);
    put_edf_field(PHYSICAL_MIN, 8);
    put_edf_field(PHYSICAL_MAX, 8);
    put_edf_field(DIGITAL_MIN, 8);
    put_edf_field(DIGITAL_MAX, 8);
    put_edf_field(BLANK, 80);
    for (int c = 0; c <= CHANNELS; c++) {
        put_count(c == CHANNELS ? ANNOTATION_BYTES / 2 : study->rate_hz, 8);
    }
    put_edf_field(BLANK, 32);
    size_t rate = (size_t)study->rate_hz;
    for (int record = 0; record < study->length_s; record++) {
        for (int c = 0; c < CHANNELS; c++) {
            fwrite(study->codes[c] + (size_t)record * rate, sizeof(int16_t), rate, stdout);
        }
        put_edf_annotations(study, record);
    }
}

/* ---- */

static void put_codes(const struct study *study)
{
    for (int c = 0; c < CHANNELS; c++) {
        fwrite(study->codes[c], sizeof *study->codes[c], study->count, stdout);
    }
}

static int read_number(const char *text, int most)
{
    char *end = NULL;
    long number = strtol(text, &end, 10);
    if (end == text || *end != '\0' || number < 1 || number > most) {
        fail("a rate or a length is no sensible number");
    }
    return (int)number;
}

static void put(const struct study *study, const char *form, int piece_s)
{
    if (strcmp(form, "decimals") == 0) {
        put_json(study, put_decimals);
    } else if (strcmp(form, "int16") == 0) {
        put_json(study, put_int16);
    } else if (strcmp(form, "float32") == 0) {
        put_json(study, put_float32);
    } else if (strcmp(form, "pieces") == 0 && piece_s > 0) {
        put_pieces(study, piece_s);
    } else if (strcmp(form, "csv") == 0) {
        put_csv(study);
    } else if (strcmp(form, "edf") == 0) {
        put_edf(study);
    } else if (strcmp(form, "codes") == 0) {
        put_codes(study);
    } else {
        fail("no such form");
    }
}

int main(int argc, char **argv)
{
    if (argc < 4 || argc > 5) {
        fail("usage: documents FORM RATE_HZ LENGTH_S [PIECE_S]");
    }
    struct study study = {.rate_hz = read_number(argv[2], 1000),
                          .length_s = read_number(argv[3], 48 * 3600)};
    study.count = (size_t)study.rate_hz * (size_t)study.length_s;
    for (int c = 0; c < CHANNELS; c++) {
        study.codes[c] = malloc(study.count * sizeof *study.codes[c]);
        if (study.codes[c] == NULL) {
            fail("out of memory");
        }
    }
    make_numbers(&study);
    put(&study, argv[1], argc == 5 ? read_number(argv[4], study.length_s) : 0);
    if (fflush(stdout) != 0) {
        fail("cannot write");
    }
    for (int c = 0; c < CHANNELS; c++) {
        free(study.codes[c]);
    }
    return EXIT_SUCCESS;
}
