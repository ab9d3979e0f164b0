#include "support/test_memory.h"

#include <stdlib.h>

struct test_block {
    struct test_block *next;
    max_align_t room[];
};

static void *take(void *context, size_t size)
{
    struct test_memory *owner = context;

    if (owner->allocations >= owner->allowed) {
        return NULL;
    }
    struct test_block *block = calloc(1, sizeof *block + size);

    if (block == NULL) {
        return NULL;
    }
    block->next = owner->blocks;
    owner->blocks = block;
    owner->allocations++;
    owner->bytes += size;
    return block->room;
}

void test_memory_open(struct test_memory *owner, size_t allowed)
{
    *owner = (struct test_memory){.allowed = allowed};
    owner->memory = (struct analysis_memory){.allocate = take, .context = owner};
}

void test_memory_close(struct test_memory *owner)
{
    while (owner->blocks != NULL) {
        struct test_block *next = owner->blocks->next;

        free(owner->blocks);
        owner->blocks = next;
    }
}
