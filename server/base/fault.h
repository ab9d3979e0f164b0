/* What is wrong with an input: every fault, each with its JSON Pointer (RFC 6901). */
#ifndef BASE_FAULT_H
#define BASE_FAULT_H

#include "base/arena.h"

#include <stddef.h>

enum { FAULT_LIMIT = 100 }; /* further ones are counted, not kept */

struct fault {
    const char *pointer; /* "/channels/0/unit"; "" is the whole document */
    const char *detail;  /* a sentence for the sender */
};

struct fault_list {
    struct arena *arena;
    size_t count;   /* faults kept */
    size_t dropped; /* faults beyond FAULT_LIMIT */
    struct fault items[FAULT_LIMIT];
};

void fault_list_init(struct fault_list *faults, struct arena *arena);

/* Adds a fault; both texts are copied onto the list's arena. */
void fault_add(struct fault_list *faults, const char *pointer, const char *format, ...)
    PRINTF_LIKE(3, 4);

/* "parent/member" with the member escaped after RFC 6901 (~ to ~0, / to ~1). */
const char *fault_pointer_member(struct arena *arena, const char *parent, const char *member);
const char *fault_pointer_index(struct arena *arena, const char *parent, size_t index);

#endif
