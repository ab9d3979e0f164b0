/* The bodies that the loader sends, and the list of them. */
#ifndef DEMO_DATA_DOCUMENTS_H
#define DEMO_DATA_DOCUMENTS_H

#include "calendar.h"
#include "clinic.h"
#include "identity.h"
#include "json_out.h"
#include "scene.h"
#include "sensors.h"

/* One demo: everything in it follows from these. */
struct documents_order {
    uint64_t seed;
    int64_t today;  /* days since 1970-01-01 */
    int64_t anchor; /* visits of the past are counted back from here: the first of today's month, so
                       that loading the demo again next day only adds that day's list */
    const char *directory;
};

struct documents_patient {
    char id[IDENTITY_SIZE];
    char mrn[16];
};

struct documents_visit {
    char id[IDENTITY_SIZE];
    int64_t day;
    int64_t unix_ms;
    char started_at[CALENDAR_TIME_SIZE];
};

struct documents_recording {
    char id[IDENTITY_SIZE];
    char started_at[CALENDAR_TIME_SIZE];
};

struct documents_patient documents_patient_of(const struct documents_order *order, size_t index);
struct documents_visit documents_visit_of(const struct documents_order *order, size_t index);
struct documents_recording documents_recording_of(const struct documents_order *order,
                                                  const struct documents_visit *visit, size_t index,
                                                  size_t part);

/* Which of the seed's sequences makes a recording's signals. */
uint64_t documents_stream(size_t visit, size_t part);

/* Each writes one file below order->directory. False when it could not be written. */
bool documents_write_clinic(const struct documents_order *order);
bool documents_write_index(const struct documents_order *order);
bool documents_write_patient(const struct documents_order *order, size_t index);
bool documents_write_visit(const struct documents_order *order, size_t index);
bool documents_write_recording(const struct documents_order *order, size_t index, size_t part,
                               const struct scene *scene, const struct sensors_set *sensors);
bool documents_write_truth(const struct documents_order *order, size_t index, size_t part,
                           const struct scene *scene);

#endif
