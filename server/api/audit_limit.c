#include "api/audit_limit.h"

#include <stddef.h>
#include <stdint.h>

static const double LIMIT_PAUSE_S = 1.0;

enum { LIMIT_OF_ALL = 20 };

/* FNV-1a, 32 bits: draft-eastlake-fnv. */
static size_t slot_of(const char *address)
{
    uint32_t hash = UINT32_C(2166136261);
    for (const char *at = address; *at != '\0'; at++) {
        hash = (hash ^ (unsigned char)*at) * UINT32_C(16777619);
    }
    return hash % AUDIT_LIMIT_SLOTS;
}

static bool take(struct audit_limit *limit, double *allowed_s, double now_s)
{
    if (now_s - limit->second_s >= LIMIT_PAUSE_S || limit->second_s <= 0.0) {
        limit->second_s = now_s;
        limit->in_second = 0;
    }
    bool is_new = *allowed_s <= 0.0;
    if ((!is_new && now_s - *allowed_s < LIMIT_PAUSE_S) || limit->in_second >= LIMIT_OF_ALL) {
        limit->passed_over++;
        return false;
    }
    limit->in_second++;
    *allowed_s = now_s;
    return true;
}

bool audit_limit_allows(struct audit_limit *limit, const char *address, double now_s,
                        unsigned *ret_passed_over)
{
    pthread_mutex_lock(&limit->lock);
    bool allowed = take(limit, &limit->allowed_s[slot_of(address)], now_s);
    if (allowed) {
        *ret_passed_over = limit->passed_over;
        limit->passed_over = 0;
    }
    pthread_mutex_unlock(&limit->lock);
    return allowed;
}
