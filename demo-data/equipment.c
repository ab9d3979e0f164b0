#include "equipment.h"

#include "rng.h"
#include "visits.h"

#include <math.h>

enum {
    NAME_SIZE = 64,
    SIGNALS_MAX = 3,
    POINTS_MAX = 8,
    CHECKS_MAX = 5,
    DUE_EVERY_DAYS = 180,
    DEVICE_KEY = 101, /* sequences of the seed that nothing else draws from */
    CHECK_KEY,
    READING_KEY
};

static const int64_t IN_USE_SINCE_DAY = 19724; /* 2024-01-02 */
static const int64_t DAY_MS = 86400000;
static const char MAKER_A[] = "Fennimarsh & Daughters";
static const char MAKER_B[] = "Own workshop";
static const char CHECKED_BY[] = "J. Copperfen";

/* A known value and how precisely the device shows what it reads. */
struct point {
    double applied;
    const char *unit;
    int decimals;
    bool falling;
};

struct kind {
    const char *name;
    const char *method;
    bool has_zero; /* its zero is read before and after */
    double spread; /* a gain is off by up to this much */
    struct point points[POINTS_MAX];
};

#define PRESSURE "cm[H2O]"

static const struct kind TRANSDUCER = {"pressure_transducer",
                                       "Water column, rising and falling",
                                       true,
                                       0.008,
                                       {{0, PRESSURE, 1, false},
                                        {10, PRESSURE, 1, false},
                                        {50, PRESSURE, 1, false},
                                        {100, PRESSURE, 1, false},
                                        {100, PRESSURE, 1, true},
                                        {50, PRESSURE, 1, true},
                                        {10, PRESSURE, 1, true},
                                        {0, PRESSURE, 1, true}}};
static const struct kind FLOWMETER = {
    "flowmeter",
    "500 mL poured through a constant-flow bottle; measuring jug",
    false,
    0.008,
    {{20, "mL/s", 1, false}, {200, "mL", 0, false}, {500, "mL", 0, false}}};
static const struct kind PUMP = {"infusion_pump",
                                 "Timed into a measuring jug",
                                 false,
                                 0.008,
                                 {{50, "mL/min", 1, false}, {200, "mL", 0, false}}};
static const struct kind PULLER = {
    "puller", "Ruler and stop watch", false, 0.008, {{1, "mm/s", 2, false}, {60, "mm", 1, false}}};
static const struct kind AMPLIFIER = {
    "emg_amplifier", "Test signal of 100 uV", false, 0.008, {{100, "uV", 1, false}}};
static const struct kind SYRINGE = {"balloon_syringe", "", false, 0.008, {{0, NULL, 0, false}}};
static const struct kind SCALE = {
    "scale", "Test weights", false, 0.001, {{100, "g", 1, false}, {500, "g", 1, false}}};

/* When it was checked, counted back from the anchor; zero: no more checks. */
struct schedule {
    int days_ago[CHECKS_MAX];
    int failed; /* which of them failed, from 1; zero: none */
};

static const struct schedule REGULAR = {{685, 515, 345, 175, 5}, 0};
static const struct schedule REPAIRED = {{570, 400, 230, 62, 60}, 4};
static const struct schedule NEGLECTED = {{690, 520, 350}, 0};
static const struct schedule NEVER = {{0}, 0};

static const struct device {
    const char *room;
    const struct kind *kind;
    const struct schedule *schedule;
    const char *name;
    const char *maker;
    const char *serial;
    const char *signals[SIGNALS_MAX];
    bool is_spare;
} DEVICES[] = {
    {VISITS_ALDER,
     &TRANSDUCER,
     &REGULAR,
     "Alder, bladder line",
     MAKER_A,
     "PT-1041",
     {"pves"},
     false},
    {VISITS_ALDER,
     &TRANSDUCER,
     &REPAIRED,
     "Alder, belly line",
     MAKER_A,
     "PT-1042",
     {"pabd"},
     false},
    {VISITS_ALDER,
     &FLOWMETER,
     &REGULAR,
     "Alder, flowmeter",
     MAKER_A,
     "FM-220",
     {"flow", "vvoid"},
     false},
    {VISITS_ALDER, &PUMP, &REGULAR, "Alder, pump", MAKER_A, "IP-071", {"vinf"}, false},
    {VISITS_BIRCH,
     &TRANSDUCER,
     &REGULAR,
     "Birch, bladder line",
     MAKER_A,
     "PT-1043",
     {"pves"},
     false},
    {VISITS_BIRCH, &TRANSDUCER, &REGULAR, "Birch, belly line", MAKER_A, "PT-1044", {"pabd"}, false},
    {VISITS_BIRCH,
     &FLOWMETER,
     &NEGLECTED,
     "Birch, flowmeter",
     MAKER_A,
     "FM-221",
     {"flow", "vvoid"},
     false},
    {VISITS_BIRCH, &PUMP, &REGULAR, "Birch, pump", MAKER_A, "IP-072", {"vinf"}, false},
    {VISITS_BIRCH, &PULLER, &REGULAR, "Birch, puller", MAKER_B, "", {"puller"}, false},
    {VISITS_ROWAN,
     &TRANSDUCER,
     &REGULAR,
     "Rowan, lines",
     MAKER_A,
     "PT-1045",
     {"pves", "pabd"},
     false},
    {VISITS_ROWAN,
     &FLOWMETER,
     &REGULAR,
     "Rowan, flowmeter",
     MAKER_A,
     "FM-222",
     {"flow", "vvoid"},
     false},
    {VISITS_ROWAN, &SYRINGE, &NEVER, "Rowan, balloon syringe", "", "", {"balloon"}, false},
    {VISITS_HAZEL, &AMPLIFIER, &REGULAR, "Hazel, EMG", MAKER_B, "", {"emg"}, false},
    {VISITS_HAZEL, &SCALE, &REGULAR, "Hazel, pad scale", "", "", {NULL}, false},
    {VISITS_HAZEL, &TRANSDUCER, &NEVER, "Spare line", MAKER_A, "PT-1046", {NULL}, true},
};

enum { DEVICE_COUNT = sizeof DEVICES / sizeof DEVICES[0] };

static void id_of_device(const struct documents_order *order, size_t index, char id[IDENTITY_SIZE])
{
    identity_uuid(order->seed, rng_mix(DEVICE_KEY, index),
                  (IN_USE_SINCE_DAY + (int64_t)index) * DAY_MS, id);
}

static void moment_of(const struct documents_order *order, size_t index, size_t check,
                      char at[CALENDAR_TIME_SIZE], char id[IDENTITY_SIZE])
{
    int64_t unix_ms = 0;
    int64_t day = calendar_working_day(order->anchor - DEVICES[index].schedule->days_ago[check]);
    calendar_format_time(day, VISITS_CLOCK(7, 0) + 5 * (int)index, at, &unix_ms);
    identity_uuid(order->seed, rng_mix(CHECK_KEY, rng_mix(index, check)), unix_ms, id);
}

static void name_of(char name[NAME_SIZE], size_t index)
{
    (void)snprintf(name, NAME_SIZE, "devices/%03zu.json", index + 1);
}

static void name_of_check(char name[NAME_SIZE], size_t index, size_t check)
{
    (void)snprintf(name, NAME_SIZE, "devices/%03zu-%zu.json", index + 1, check + 1);
}

static bool write_device(const struct documents_order *order, size_t index)
{
    const struct device *row = &DEVICES[index];
    char name[NAME_SIZE];
    char id[IDENTITY_SIZE];
    char since[CALENDAR_TIME_SIZE];
    int64_t ignored = 0;
    struct json_out out;
    name_of(name, index);
    if (!json_out_open(&out, order->directory, name)) {
        return false;
    }
    id_of_device(order, index, id);
    calendar_format_time(IN_USE_SINCE_DAY, VISITS_CLOCK(7, 0), since, &ignored);
    json_out_object(&out, NULL);
    json_out_string(&out, "id", id);
    json_out_string(&out, "kind", row->kind->name);
    json_out_string(&out, "name", row->name);
    json_out_string(&out, "maker", row->maker);
    json_out_string(&out, "serial", row->serial);
    json_out_array(&out, "signals");
    for (size_t i = 0; i < SIGNALS_MAX && row->signals[i] != NULL; i++) {
        json_out_string(&out, NULL, row->signals[i]);
    }
    json_out_end_array(&out);
    json_out_string(&out, "room", row->room);
    json_out_bool(&out, "in_use", !row->is_spare);
    json_out_string(&out, "since", since);
    json_out_number(&out, "due_every_days", DUE_EVERY_DAYS, 0);
    json_out_end_object(&out);
    return json_out_close(&out, name);
}

/* Between -1 and 1. */
static double drawn(const struct documents_order *order, size_t index, size_t check, size_t what)
{
    uint64_t bits =
        rng_mix(rng_mix(order->seed, READING_KEY), rng_mix(rng_mix(index, check), what));
    return 2.0 * (double)(bits >> 40) / 16777215.0 - 1.0;
}

/* Well within every limit, but where the check is to fail. */
static double reading_of(const struct documents_order *order, size_t index, size_t check,
                         size_t point)
{
    const struct point *known = &DEVICES[index].kind->points[point];
    double gain = 1.0 + DEVICES[index].kind->spread * drawn(order, index, check, 0);
    if (DEVICES[index].schedule->failed == (int)check + 1) {
        gain = 1.07;
    }
    double scatter =
        known->applied > 0.0 ? DEVICES[index].kind->spread / 4.0 * known->applied : 0.2;
    double reading = gain * known->applied + scatter * drawn(order, index, check, 1 + point);
    return known->falling ? reading + 0.2 : reading;
}

static void write_points(struct json_out *out, const struct documents_order *order, size_t index,
                         size_t check)
{
    const struct kind *kind = DEVICES[index].kind;
    json_out_array(out, "points");
    for (size_t i = 0; i < POINTS_MAX && kind->points[i].unit != NULL; i++) {
        const struct point *point = &kind->points[i];
        json_out_object(out, NULL);
        json_out_number(out, "applied", point->applied, 0);
        json_out_number(out, "reading", reading_of(order, index, check, i), point->decimals);
        json_out_string(out, "unit", point->unit);
        json_out_string(out, "direction", point->falling ? "down" : "up");
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

static void write_zero(struct json_out *out, const struct documents_order *order, size_t index,
                       size_t check)
{
    if (!DEVICES[index].kind->has_zero) {
        return;
    }
    json_out_object(out, "zero");
    json_out_number(out, "before", 0.2 * drawn(order, index, check, 1), 1);
    json_out_number(out, "after", 0.2 + 0.3 * drawn(order, index, check, POINTS_MAX + 1), 1);
    json_out_string(out, "unit", PRESSURE);
    json_out_number(out, "minutes", 45, 0);
    json_out_end_object(out);
}

static bool write_check(const struct documents_order *order, size_t index, size_t check)
{
    const struct device *row = &DEVICES[index];
    const bool fails = row->schedule->failed == (int)check + 1;
    char name[NAME_SIZE];
    char id[IDENTITY_SIZE];
    char at[CALENDAR_TIME_SIZE];
    struct json_out out;
    name_of_check(name, index, check);
    if (!json_out_open(&out, order->directory, name)) {
        return false;
    }
    moment_of(order, index, check, at, id);
    json_out_object(&out, NULL);
    json_out_string(&out, "id", id);
    json_out_string(&out, "verified_at", at);
    json_out_string(&out, "verified_by", CHECKED_BY);
    json_out_string(&out, "method", row->kind->method);
    if (fails) {
        json_out_string(&out, "remarks", "Reads too high; out of use until it is calibrated");
    } else if (check > 0 && row->schedule->failed == (int)check) {
        json_out_string(&out, "remarks", "After calibration");
    }
    write_points(&out, order, index, check);
    write_zero(&out, order, index, check);
    json_out_end_object(&out);
    return json_out_close(&out, name);
}

bool equipment_write(const struct documents_order *order)
{
    bool written = true;
    for (size_t i = 0; written && i < DEVICE_COUNT; i++) {
        written = write_device(order, i);
        const int *days_ago = DEVICES[i].schedule->days_ago;
        for (size_t c = 0; written && c < CHECKS_MAX && days_ago[c] != 0; c++) {
            written = write_check(order, i, c);
        }
    }
    return written;
}

static void list_checks(struct json_out *out, const struct documents_order *order, size_t index)
{
    const int *days_ago = DEVICES[index].schedule->days_ago;
    json_out_array(out, "verifications");
    for (size_t c = 0; c < CHECKS_MAX && days_ago[c] != 0; c++) {
        char name[NAME_SIZE];
        char id[IDENTITY_SIZE];
        char at[CALENDAR_TIME_SIZE];
        name_of_check(name, index, c);
        moment_of(order, index, c, at, id);
        json_out_object(out, NULL);
        json_out_string(out, "file", name);
        json_out_string(out, "id", id);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}

void equipment_list(struct json_out *out, const struct documents_order *order)
{
    json_out_array(out, "devices");
    for (size_t i = 0; i < DEVICE_COUNT; i++) {
        char name[NAME_SIZE];
        char id[IDENTITY_SIZE];
        name_of(name, i);
        id_of_device(order, i, id);
        json_out_object(out, NULL);
        json_out_string(out, "file", name);
        json_out_string(out, "id", id);
        json_out_string(out, "room", DEVICES[i].room);
        list_checks(out, order, i);
        json_out_end_object(out);
    }
    json_out_end_array(out);
}
