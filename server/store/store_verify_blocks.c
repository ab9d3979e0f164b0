#include "store/store_verify_blocks.h"

#include "formats/overview.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { STORED_LEVELS = 1 + 2 * OVERVIEW_LEVELS };

enum block_column {
    COLUMN_CHANNEL,
    COLUMN_LEVEL,
    COLUMN_BLOCK,
    COLUMN_RECEIVED_ON,
    COLUMN_SAMPLES,
    COLUMN_CHECKSUM,
    COLUMN_DATA
};

struct place {
    int channel;
    int level;
    int64_t block;
};

void block_check_begin(struct block_check *check, const struct recording_row *row,
                       struct sample_codec *codec, block_listener tell, void *context)
{
    *check = (struct block_check){.row = row, .codec = codec, .tell = tell, .context = context};
    /* Its number is -1: it comes first. */
    if (row->has_overview && recording_derived_pdet(row, &check->channels[0])) {
        check->channel_count = 1;
    }
    for (size_t i = 0; i < row->channel_count && i < LIMIT_CHANNELS; i++) {
        check->channels[check->channel_count++] = row->channels[i];
    }
}

/* Codes of a channel at a stored level; 0 where the recording has none. */
static size_t codes_of(const struct block_check *check, size_t channel, int level)
{
    const struct recording_channel_row *row = &check->channels[channel];
    int overview_level = (level + 1) / 2;
    if (level == 0) {
        return row->number < 0 ? 0 : row->shape.count;
    }
    return check->row->has_overview && overview_exists(row->shape.count, overview_level)
               ? overview_count(row->shape.count, overview_level)
               : 0;
}

/* The first place that has to come, from where the check stands; false behind the last. */
static bool find_expected(struct block_check *check, struct place *ret_place)
{
    for (; check->channel < check->channel_count; check->channel++) {
        for (; check->level < STORED_LEVELS; check->level++) {
            if (check->block < sample_block_count(codes_of(check, check->channel, check->level))) {
                *ret_place = (struct place){.channel = check->channels[check->channel].number,
                                            .level = check->level,
                                            .block = (int64_t)check->block};
                return true;
            }
            check->block = 0;
        }
        check->level = 0;
        check->decoded = 0;
        check->missing = 0;
    }
    return false;
}

static bool is_before(const struct place *one, const struct place *other)
{
    if (one->channel != other->channel) {
        return one->channel < other->channel;
    }
    return one->level != other->level ? one->level < other->level : one->block < other->block;
}

static void tell(const struct block_check *check, const struct place *place, const char *detail)
{
    check->tell(check->context, place->channel, place->level, place->block, detail);
}

/* Tells of every place before `place` (NULL: of all that are left) that was passed over. */
static void pass_over(struct block_check *check, const struct place *place)
{
    struct place expected;
    while (find_expected(check, &expected) && (place == NULL || is_before(&expected, place))) {
        tell(check, &expected, "sample block missing");
        check->block++;
    }
}

/* How many samples of a channel are missing is known only when all of its blocks could be read. */
static void count_missing(struct block_check *check, const struct place *place, const void *codes,
                          size_t count)
{
    double values[SAMPLE_BLOCK_LENGTH];
    const struct samples *shape = &check->channels[check->channel].shape;
    struct samples block = *shape;
    block.codes = codes;
    block.count = count;
    samples_values(&block, 0, count, values);
    for (size_t i = 0; i < count; i++) {
        check->missing += isnan(values[i]) ? 1 : 0;
    }
    check->decoded += count;
    if (check->decoded == shape->count && check->missing != shape->missing) {
        char detail[BLOCK_DETAIL_SIZE];
        (void)snprintf(detail, sizeof detail, "%zu samples of the channel are missing, not %zu",
                       check->missing, shape->missing);
        tell(check, place, detail);
    }
}

static const char *fault_of(const struct block_check *check, const struct rows *rows,
                            struct arena *arena, const struct sample_block *block, void *codes)
{
    size_t left =
        codes_of(check, check->channel, check->level) - check->block * (size_t)SAMPLE_BLOCK_LENGTH;
    size_t expected = left < SAMPLE_BLOCK_LENGTH ? left : SAMPLE_BLOCK_LENGTH;
    if (strcmp(rows_text(rows, arena, 0, COLUMN_RECEIVED_ON), check->row->received_on) != 0) {
        return "sample block under another date than its recording";
    }
    if (block->sample_count != expected) {
        return "sample block of a wrong size";
    }
    struct error error = {0};
    enum sample_encoding encoding = check->channels[check->channel].shape.encoding;
    return sample_block_decode(check->codec, encoding, block, codes, &error)
               ? NULL
               : arena_strdup(arena, error.detail);
}

void block_check_take(struct block_check *check, const struct rows *rows)
{
    struct place place = {.channel = rows_int(rows, 0, COLUMN_CHANNEL),
                          .level = rows_int(rows, 0, COLUMN_LEVEL),
                          .block = rows_int64(rows, 0, COLUMN_BLOCK)};
    pass_over(check, &place);
    struct place expected;
    if (!find_expected(check, &expected) || is_before(&place, &expected)) {
        tell(check, &place, "sample block that the recording does not have");
        return;
    }
    struct arena *arena = arena_new();
    uint8_t *codes = arena_array(arena, SAMPLE_BLOCK_LENGTH, sizeof(double));
    struct sample_block block = {
        .sample_count = (uint32_t)rows_int64(rows, 0, COLUMN_SAMPLES),
        .checksum = (uint32_t)rows_int64(rows, 0, COLUMN_CHECKSUM),
    };
    block.data = rows_bytes(rows, 0, COLUMN_DATA, &block.length);
    const char *fault = fault_of(check, rows, arena, &block, codes);
    if (fault != NULL) {
        tell(check, &place, fault);
    } else if (place.level == 0) {
        count_missing(check, &place, codes, block.sample_count);
    }
    check->block++;
    arena_free(arena);
}

void block_check_end(struct block_check *check)
{
    pass_over(check, NULL);
}
