/* How often entries may be made of what comes from nobody known: a flood must not fill the disk. */
#ifndef API_AUDIT_LIMIT_H
#define API_AUDIT_LIMIT_H

#include <pthread.h>
#include <stdbool.h>

enum { AUDIT_LIMIT_SLOTS = 1024 };

/* One a second from an address (or of whatever else the text names), and 20 a second from all
 * together; those that fall into the same slot share what one may. Statically made with
 * AUDIT_LIMIT_NEW; shared by all workers. */
struct audit_limit {
    pthread_mutex_t lock;
    double allowed_s[AUDIT_LIMIT_SLOTS]; /* when the slot was last allowed one */
    double second_s;                     /* when the common second began */
    int in_second;
    unsigned passed_over; /* since the last that was allowed */
};

#define AUDIT_LIMIT_NEW                                                                            \
    {                                                                                              \
        .lock = PTHREAD_MUTEX_INITIALIZER                                                          \
    }

/* Whether an entry may be made now.
 * now_s            clock_monotonic_s()
 * ret_passed_over  when it may: how many before it might not */
bool audit_limit_allows(struct audit_limit *limit, const char *address, double now_s,
                        unsigned *ret_passed_over);

#endif
