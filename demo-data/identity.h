/* Ids that stay the same for a seed: the demo can be loaded again without making anything twice. */
#ifndef DEMO_DATA_IDENTITY_H
#define DEMO_DATA_IDENTITY_H

#include <stdint.h>

enum { IDENTITY_SIZE = 37 };

/* A UUID shaped as version 7 (RFC 9562, section 5.7): the time in front, the rest drawn from
 * sequence `key` of `seed`. Canonical lower case. */
void identity_uuid(uint64_t seed, uint64_t key, int64_t unix_ms, char text[IDENTITY_SIZE]);

#endif
