#include "analysis/memory.h"

#include <stdint.h>

void *memory_array(const struct analysis_memory *memory, size_t count, size_t size)
{
    const size_t room = count > 0 ? count : 1;

    if (room > SIZE_MAX / size) {
        return NULL;
    }
    return memory->allocate(memory->context, room * size);
}

double *memory_doubles(const struct analysis_memory *memory, size_t count)
{
    return memory_array(memory, count, sizeof(double));
}
