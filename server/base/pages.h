/* Memory of the system for what is large: in large pages where the system has them, because handing
 * out a page costs more than filling it. */
#ifndef BASE_PAGES_H
#define BASE_PAGES_H

#include <stddef.h>

/* A large page; and from where on one pays: below, most of it would be cleared for nothing. */
enum { PAGES_LARGE = 2 * 1024 * 1024, PAGES_WORTHWHILE = 512 * 1024 };

/* Bytes of whole large pages that hold `size` bytes: what they may come to cost. */
size_t pages_size(size_t size);

/* pages_size(size) bytes, zeroed, taken from the system a large page at a time where they are
 * touched. NULL when there is no memory. */
void *pages_new(size_t size);

/* Gives back what pages_new(size) gave. NULL is allowed. */
void pages_free(void *pages, size_t size);

/* Makes malloc() keep what a request has used for the next one, up to a few MiB a thread: it would
 * give it back and fetch it again each time. What is larger does not come from there. Call before
 * threads are started. */
void pages_keep_small(void);

#endif
