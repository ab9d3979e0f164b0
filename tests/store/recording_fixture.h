/* Recording documents for the tests of the store. */
#ifndef TESTS_STORE_RECORDING_FIXTURE_H
#define TESTS_STORE_RECORDING_FIXTURE_H

#include "fixture.h"
#include "formats/recording_json.h"
#include "store/store_recording.h"

/* Four channels, one of each encoding, of `count` samples with some missing; two events. `id` may
 * be NULL. On the fixture's arena. */
struct recording_document *recording_fixture(struct fixture *fixture, const char *id, size_t count);

/* Stores it with a small analysis in the open transaction. */
const char *recording_fixture_store(struct fixture *fixture, const char *study_id, size_t count);

/* Whether two arrays are the same bit for bit. */
bool recording_fixture_same(const double *left, const double *right, size_t count);

#endif
