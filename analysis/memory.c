#include "analysis/memory.h"

#include <stdint.h>
#include <string.h>

static void *room(const struct analysis_memory *memory, size_t count, size_t size)
{
    const size_t places = count > 0 ? count : 1;

    return places > SIZE_MAX / size ? NULL : memory->allocate(memory->context, places * size);
}

void *memory_array(const struct analysis_memory *memory, size_t count, size_t size)
{
    void *array = room(memory, count, size);

    if (array != NULL) {
        memset(array, 0, count * size);
    }
    return array;
}

double *memory_doubles(const struct analysis_memory *memory, size_t count)
{
    return room(memory, count, sizeof(double));
}
