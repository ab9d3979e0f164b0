#include "support/test_memory.h"

#include <stdlib.h>
#include <string.h>

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
    struct test_block *block = malloc(sizeof *block + size);

    if (block == NULL) {
        return NULL;
    }
    /* Read as doubles these bytes are absurd numbers: what relies on zeroes is seen. */
    memset(block->room, 0x7B, size);
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
