#include "tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

uint64_t tables_random(uint64_t *seed)
{
    *seed ^= *seed >> 12;
    *seed ^= *seed << 25;
    *seed ^= *seed >> 27;
    return *seed * UINT64_C(2685821657736338717);
}

size_t tables_below(uint64_t *seed, size_t count)
{
    return (size_t)((tables_random(seed) >> 16) % count);
}

bool tables_same(double one, double other)
{
    uint64_t bits = 0;
    uint64_t other_bits = 0;
    memcpy(&bits, &one, sizeof bits);
    memcpy(&other_bits, &other, sizeof other_bits);
    return (isnan(one) && isnan(other)) || bits == other_bits;
}

const struct recording_document *tables_read(struct arena *arena, const char *text)
{
    struct recording_document *document = arena_alloc(arena, sizeof *document);
    struct fault_list faults;
    fault_list_init(&faults, arena);
    if (csv_read(arena, text, strlen(text), document, &faults) != CSV_READ_OK) {
        fail_msg("unexpected fault %s: %s in\n%.300s", faults.items[0].pointer,
                 faults.items[0].detail, text);
    }
    assert_int_equal(faults.count, 0);
    return document;
}

const double *tables_values(struct arena *arena, const struct document_channel *channel,
                            enum signal_kind signal, double rate_hz, double start_s, size_t count)
{
    assert_int_equal(channel->signal, signal);
    if (!tables_same(channel->rate_hz, rate_hz) || !tables_same(channel->start_s, start_s) ||
        channel->samples.count != count) {
        fail_msg("%s: %.17g Hz from %.17g s, %zu samples", signal_name(signal), channel->rate_hz,
                 channel->start_s, channel->samples.count);
    }
    return samples_all_values(&channel->samples, arena);
}
