/* Memory of the system for what is large: in large pages where the system has them, because handing
 * out a page costs more than filling it. */
#ifndef BASE_PAGES_H
#define BASE_PAGES_H

#include <stddef.h>

/* From here on large pages pay: below, most of one would be cleared for nothing. */
enum { PAGES_WORTHWHILE = 512 * 1024 };

/* `size` bytes rounded up to whole large pages, zeroed, taken from the system only where they are
 * touched. NULL when there is no memory. */
void *pages_new(size_t size);

/* Gives back what pages_new(size) gave. NULL is allowed. */
void pages_free(void *pages, size_t size);

/* Makes malloc() keep what a request has used for the next one, up to a few MiB a thread: it would
 * give it back and fetch it again each time. What is larger does not come from there. Call before
 * threads are started. */
void pages_keep_small(void);

#endif
