/* How fast a recording document is read: half an hour, 8 channels at 100 Hz, as numbers and as
 * base64, beside json_loadb() alone on the same text in the same run. Prints lines "name value". */
#include "formats/base64.h"
#include "formats/document_scan.h"
#include "formats/recording_json.h"

#include <jansson.h>
#include <malloc.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { RATE_HZ = 100, LENGTH_S = 1800, CHANNELS = 8, SAMPLES = RATE_HZ * LENGTH_S, ROUNDS = 11 };

enum { NUMBER_SIZE = 16, HEAD_SIZE = 4096 };

static const char *const signals[CHANNELS] = {"pves",  "pabd", "pdet", "flow",
                                              "vvoid", "vinf", "emg",  "pura"};
static const char *const units[CHANNELS] = {"cm[H2O]", "cm[H2O]", "cm[H2O]", "mL/s",
                                            "mL",      "mL",      "uV",      "cm[H2O]"};

/* ---- The document ---- */

static void *allocate(size_t size)
{
    void *memory = malloc(size);

    if (memory == NULL) {
        abort();
    }
    return memory;
}

/* Slow waves and noise of a pressure, in tenths. */
static int tenths(size_t i, int channel, uint64_t *state)
{
    const double at_s = (double)i / RATE_HZ;

    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (int)(300.0 + 250.0 * sin(at_s / (20.0 + channel)) + 15.0 * sin(at_s * 1.6)) +
           (int)(*state >> 40) % 9;
}

static char *add_numbers(char *at, int channel, uint64_t *state)
{
    at = stpcpy(at, "\"samples\":[");
    for (size_t i = 0; i < SAMPLES; i++) {
        const int value = tenths(i, channel, state);

        at += snprintf(at, NUMBER_SIZE, "%s%s%d.%d", i == 0 ? "" : ",", value < 0 ? "-" : "",
                       abs(value) / 10, abs(value) % 10);
    }
    return stpcpy(at, "]");
}

/* 3 bytes of int16 codes are 4 characters. */
static char *add_base64(char *at, int channel, uint64_t *state)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    static unsigned char bytes[2 * SAMPLES];

    for (size_t i = 0; i < SAMPLES; i++) {
        const int value = tenths(i, channel, state);

        bytes[2 * i] = (unsigned char)((unsigned)value & 0xff);
        bytes[2 * i + 1] = (unsigned char)((unsigned)value >> 8 & 0xff);
    }
    at = stpcpy(at, "\"encoding\":\"int16\",\"scale\":0.1,\"data\":\"");
    for (size_t i = 0; i < sizeof bytes; i += 3) { /* 360,000 bytes: no padding */
        const unsigned word = (unsigned)bytes[i] << 16 | (unsigned)bytes[i + 1] << 8 | bytes[i + 2];

        *at++ = digits[word >> 18];
        *at++ = digits[word >> 12 & 63];
        *at++ = digits[word >> 6 & 63];
        *at++ = digits[word & 63];
    }
    return stpcpy(at, "\"");
}

static char *make_document(char *(*add_samples)(char *, int, uint64_t *))
{
    char *text = allocate((size_t)CHANNELS * (SAMPLES * NUMBER_SIZE + HEAD_SIZE));
    uint64_t state = 1;
    char *at = stpcpy(text, "{\"type\":\"pressure_flow\",\"started_at\":\"2026-03-02T09:31:05Z\","
                            "\"channels\":[");

    for (int i = 0; i < CHANNELS; i++) {
        at += snprintf(at, HEAD_SIZE, "%s{\"signal\":\"%s\",\"unit\":\"%s\",\"rate_hz\":%d,",
                       i == 0 ? "" : ",", signals[i], units[i], RATE_HZ);
        at = add_samples(at, i, &state);
        at = stpcpy(at, "}");
    }
    (void)stpcpy(at, "],\"events\":[{\"at_s\":10.5,\"code\":\"first_sensation\"}]}");
    return text;
}

/* ---- Measuring ---- */

static double now_s(void)
{
    struct timespec now;

    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now); /* others may keep the machine busy */
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int compare(const void *a, const void *b)
{
    const double left = *(const double *)a;
    const double right = *(const double *)b;

    return (left > right) - (left < right);
}

static double median(double *values)
{
    qsort(values, ROUNDS, sizeof *values, compare);
    return values[ROUNDS / 2];
}

struct cost {
    double time_s;
    double bytes; /* of memory, held when all is read; 0 unless it is weighed */
};

/* What the process holds of memory. Freed memory is given back first, or it would be used again
 * unseen; that makes what follows slower, so that nothing is weighed and timed at once. */
static double resident_bytes(bool weigh)
{
    char line[128];

    if (!weigh) {
        return 0.0;
    }
    (void)malloc_trim(0);
    FILE *file = fopen("/proc/self/statm", "r"); /* sizes in pages: all, then what is resident */

    if (file == NULL || fgets(line, sizeof line, file) == NULL) {
        abort();
    }
    (void)fclose(file);
    char *resident = NULL;
    (void)strtol(line, &resident, 10);
    return (double)strtol(resident, NULL, 10) * (double)sysconf(_SC_PAGESIZE);
}

static struct cost read_by_jansson(const char *text, size_t length, bool weigh)
{
    const double before = resident_bytes(weigh);
    const double begun_s = now_s();
    json_t *tree = json_loadb(text, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, NULL);
    struct cost cost = {now_s() - begun_s, resident_bytes(weigh) - before};

    if (tree == NULL) {
        abort();
    }
    json_decref(tree);
    return cost;
}

/* Only the scan: what is left is too small to matter. */
static double scan_s(const char *text, size_t length)
{
    struct document_scan result;
    struct arena *arena = arena_new();
    const double begun_s = now_s();

    document_scan_run(&result, arena, text, length);
    const double took_s = now_s() - begun_s;

    if (result.cut_count != CHANNELS) {
        abort();
    }
    arena_free(arena);
    return took_s;
}

static struct cost read_document(const char *text, size_t length, bool weigh)
{
    struct fault_list faults;
    struct arena *arena = arena_new();
    const struct recording_document *document = NULL;

    fault_list_init(&faults, arena);
    const double before = resident_bytes(weigh);
    const double begun_s = now_s();
    const enum json_read_outcome outcome =
        recording_json_read(arena, text, length, RECORDING_JSON_STORE, &document, &faults);
    const struct cost cost = {now_s() - begun_s, resident_bytes(weigh) - before};

    if (outcome != JSON_READ_OK || document->channels[CHANNELS - 1].samples.count != SAMPLES) {
        abort();
    }
    arena_free(arena);
    return cost;
}

/* A string of base64 by itself, as long as those of a document together. */
static double decode_s(void)
{
    static char text[(size_t)CHANNELS * SAMPLES * 8 / 3];
    static uint8_t bytes[(size_t)CHANNELS * SAMPLES * 2];
    size_t fault_at = 0;

    for (size_t i = 0; i < sizeof text; i++) {
        text[i] = (char)('A' + (i * 7) % 26);
    }
    const double begun_s = now_s();

    if (!base64_decode(text, sizeof text, bytes, &fault_at)) {
        abort();
    }
    return now_s() - begun_s;
}

static void measure(const char *name, const char *text)
{
    const double numbers = (double)CHANNELS * SAMPLES;
    const size_t length = strlen(text);
    double jansson_s[ROUNDS];
    double scanned_s[ROUNDS];
    double document_s[ROUNDS];
    const double jansson_bytes = read_by_jansson(text, length, true).bytes;
    const double document_bytes = read_document(text, length, true).bytes;

    for (int round = 0; round < ROUNDS; round++) {
        jansson_s[round] = read_by_jansson(text, length, false).time_s;
        scanned_s[round] = scan_s(text, length);
        document_s[round] = read_document(text, length, false).time_s;
    }
    const double whole_s = median(document_s);

    printf("%s_megabytes %.2f\n", name, 1e-6 * (double)length);
    printf("%s_jansson_ms %.2f\n", name, 1e3 * median(jansson_s));
    printf("%s_ms %.2f\n", name, 1e3 * whole_s);
    printf("%s_jansson_to_document %.1f\n", name, jansson_s[ROUNDS / 2] / whole_s);
    printf("%s_scan_ns_number %.2f\n", name, 1e9 * median(scanned_s) / numbers);
    printf("%s_ns_number %.2f\n", name, 1e9 * whole_s / numbers);
    printf("%s_jansson_bytes_number %.1f\n", name, jansson_bytes / numbers);
    printf("%s_bytes_number %.1f\n", name, document_bytes / numbers);
}

int main(void)
{
    double decoded_s[ROUNDS];
    char *numbers = make_document(add_numbers);
    char *base64 = make_document(add_base64);

    measure("numbers", numbers);
    measure("base64", base64);
    for (int round = 0; round < ROUNDS; round++) {
        decoded_s[round] = decode_s();
    }
    printf("base64_decode_ns_character %.2f\n",
           1e9 * median(decoded_s) / ((double)CHANNELS * SAMPLES * 8.0 / 3.0));
    free(numbers);
    free(base64);
    return 0;
}
