#include "base/fault.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { DETAIL_SIZE = 512 };

void fault_list_init(struct fault_list *faults, struct arena *arena)
{
    faults->arena = arena;
    faults->count = 0;
    faults->dropped = 0;
}

void fault_add(struct fault_list *faults, const char *pointer, const char *format, ...)
{
    if (faults->count == FAULT_LIMIT) {
        faults->dropped++;
        return;
    }
    char detail[DETAIL_SIZE];
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(detail, sizeof detail, format, arguments);
    va_end(arguments);
    struct fault *fault = &faults->items[faults->count++];
    fault->pointer = arena_strdup(faults->arena, pointer);
    fault->detail = arena_strdup(faults->arena, detail);
}

const char *fault_pointer_member(struct arena *arena, const char *parent, const char *member)
{
    char *pointer = arena_alloc(arena, strlen(parent) + 2 * strlen(member) + 2);
    char *end = stpcpy(pointer, parent);
    *end++ = '/';
    for (const char *from = member; *from != '\0'; from++) {
        if (*from == '~' || *from == '/') {
            *end++ = '~';
            *end++ = *from == '~' ? '0' : '1';
        } else {
            *end++ = *from;
        }
    }
    return pointer;
}

const char *fault_pointer_index(struct arena *arena, const char *parent, size_t index)
{
    return arena_printf(arena, "%s/%zu", parent, index);
}
