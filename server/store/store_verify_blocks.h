/* Inside store/ only: whether the sample blocks of a recording are those that it must have. */
#ifndef STORE_STORE_VERIFY_BLOCKS_H
#define STORE_STORE_VERIFY_BLOCKS_H

#include "formats/limits.h"
#include "formats/sample_block.h"
#include "store/query.h"
#include "store/store_recording.h"

enum { BLOCK_DETAIL_SIZE = 200 };

/* Tells of a damaged block. */
typedef void (*block_listener)(void *context, int channel, int level, int64_t block,
                               const char *detail);

/* The next block that has to come, in the order of channel, level, block. */
struct block_check {
    const struct recording_row *row;
    struct sample_codec *codec;
    block_listener tell;
    void *context;
    size_t channel_count;
    struct recording_channel_row channels[LIMIT_CHANNELS + 1];
    size_t channel; /* index into `channels` */
    int level;
    size_t block;
    size_t decoded; /* samples of this channel so far */
    size_t missing; /* of them */
};

/* row  with channels; outlives the check */
void block_check_begin(struct block_check *check, const struct recording_row *row,
                       struct sample_codec *codec, block_listener tell, void *context);

/* The next block as it is stored; columns as in the B rows of store_verify.h. */
void block_check_take(struct block_check *check, const struct rows *rows);

/* Tells of what did not come. */
void block_check_end(struct block_check *check);

#endif
