/* CSV texts and random numbers for the tests beside it. */
#ifndef TESTS_CSV_TABLES_H
#define TESTS_CSV_TABLES_H

#include "formats/csv_read.h"

#include <stdint.h>

/* The same numbers in every run (xorshift64*, Vigna 2016); `seed` must not be 0. */
uint64_t tables_random(uint64_t *seed);

/* A number from 0 to below `count`. */
size_t tables_below(uint64_t *seed, size_t count);

/* Bit for bit, any NaN being equal to any other. */
bool tables_same(double one, double other);

/* Reads a text that must be sound. */
const struct recording_document *tables_read(struct arena *arena, const char *text);

/* The values of a channel, after checking signal, rate, start and count. */
const double *tables_values(struct arena *arena, const struct document_channel *channel,
                            enum signal_kind signal, double rate_hz, double start_s, size_t count);

#endif
