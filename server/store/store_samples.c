#include "store/store_samples.h"

#include "store/connection.h"

#include <string.h>

enum {
    /* Of one INSERT: below work_mem, so that unnest() does not spill. */
    BATCH_BYTES = 2 * 1024 * 1024,
    ARRAY_BYTES_MAX = 8 * 1024 * 1024,
    BATCH_BLOCKS = 512,
    READ_BLOCKS = 256 /* of one SELECT */
};

enum samples_statement {
    CHANNELS_INSERT,
    CHANNELS_SELECT,
    BLOCKS_INSERT,
    BLOCKS_SELECT,
    SAMPLES_STATEMENT_COUNT
};

static const struct statement statements[] = {
    [CHANNELS_INSERT] = {.name = "channels_insert",
                         .sql = "insert into penstock.recording_channel (clinic_id, recording_id,"
                                " number, signal, unit, rate_hz, start_s, encoding, decimals,"
                                " scale, value_offset, sample_count, missing_count)"
                                " select $1, $2, c.* from unnest($3::int4[], $4::text[],"
                                " $5::text[], $6::float8[], $7::float8[], $8::text[], $9::int4[],"
                                " $10::float8[], $11::float8[], $12::int8[], $13::int8[]) as c"},
    [CHANNELS_SELECT] = {.name = "channels_select",
                         .sql = "select number, signal, unit, rate_hz, start_s, encoding, decimals,"
                                " scale, value_offset, sample_count, missing_count"
                                " from penstock.recording_channel"
                                " where clinic_id = $1 and recording_id = $2 order by number"},
    [BLOCKS_INSERT] = {.name = "blocks_insert",
                       .sql = "insert into penstock.sample_block (clinic_id, recording_id,"
                              " channel_number, block_number, sample_count, checksum, data)"
                              " select $1, $2, b.* from unnest($3::int4[], $4::int4[], $5::int4[],"
                              " $6::int8[], $7::bytea[]) as b"},
    [BLOCKS_SELECT] = {.name = "blocks_select",
                       .sql = "select block_number, sample_count, checksum, data"
                              " from penstock.sample_block where clinic_id = $1"
                              " and recording_id = $2 and channel_number = $3"
                              " and block_number between $4 and $5 order by block_number",
                       .binary_result = true},
};

const struct statement_table store_samples_statements = {statements, SAMPLES_STATEMENT_COUNT};

/* ---- channels ---- */

enum channel_column {
    COLUMN_NUMBER,
    COLUMN_SIGNAL,
    COLUMN_UNIT,
    COLUMN_RATE,
    COLUMN_START,
    COLUMN_ENCODING,
    COLUMN_DECIMALS,
    COLUMN_SCALE,
    COLUMN_OFFSET,
    COLUMN_COUNT,
    COLUMN_MISSING,
    CHANNEL_COLUMN_COUNT
};

static const enum binary_array_type channel_column_types[CHANNEL_COLUMN_COUNT] = {
    [COLUMN_NUMBER] = BINARY_ARRAY_INT4,   [COLUMN_SIGNAL] = BINARY_ARRAY_TEXT,
    [COLUMN_UNIT] = BINARY_ARRAY_TEXT,     [COLUMN_RATE] = BINARY_ARRAY_FLOAT8,
    [COLUMN_START] = BINARY_ARRAY_FLOAT8,  [COLUMN_ENCODING] = BINARY_ARRAY_TEXT,
    [COLUMN_DECIMALS] = BINARY_ARRAY_INT4, [COLUMN_SCALE] = BINARY_ARRAY_FLOAT8,
    [COLUMN_OFFSET] = BINARY_ARRAY_FLOAT8, [COLUMN_COUNT] = BINARY_ARRAY_INT8,
    [COLUMN_MISSING] = BINARY_ARRAY_INT8,
};

static void add_channel(struct binary_array columns[CHANNEL_COLUMN_COUNT], size_t number,
                        const struct document_channel *channel)
{
    const struct samples *samples = &channel->samples;
    bool scaled = sample_encoding_is_scaled(samples->encoding);
    bool decimal = samples->encoding == SAMPLES_DECIMAL;
    binary_array_int4(&columns[COLUMN_NUMBER], (int32_t)number);
    binary_array_text(&columns[COLUMN_SIGNAL], signal_name(channel->signal));
    binary_array_text(&columns[COLUMN_UNIT], channel->unit);
    binary_array_float8(&columns[COLUMN_RATE], channel->rate_hz);
    binary_array_float8(&columns[COLUMN_START], channel->start_s);
    binary_array_text(&columns[COLUMN_ENCODING], sample_encoding_name(samples->encoding));
    binary_array_int4(&columns[COLUMN_DECIMALS], decimal ? samples->decimals : 0);
    binary_array_float8(&columns[COLUMN_SCALE], scaled ? samples->scale : 1.0);
    binary_array_float8(&columns[COLUMN_OFFSET], scaled ? samples->offset : 0.0);
    binary_array_int8(&columns[COLUMN_COUNT], (int64_t)samples->count);
    binary_array_int8(&columns[COLUMN_MISSING], (int64_t)samples->missing);
}

bool samples_store_channels(struct store *store, const char *recording_id,
                            const struct recording_document *document, struct error *reterr)
{
    if (document->channel_count == 0) {
        return true;
    }
    struct arena *arena = arena_new();
    struct binary_array columns[CHANNEL_COLUMN_COUNT];
    for (size_t c = 0; c < CHANNEL_COLUMN_COUNT; c++) {
        binary_array_init(&columns[c], arena, channel_column_types[c], ARRAY_BYTES_MAX);
    }
    for (size_t i = 0; i < document->channel_count; i++) {
        add_channel(columns, i, &document->channels[i]);
    }
    struct query query;
    query_start(&query, store, &statements[CHANNELS_INSERT]);
    query_id(&query, recording_id);
    for (size_t c = 0; c < CHANNEL_COLUMN_COUNT; c++) {
        query_array(&query, &columns[c]);
    }
    int ignored = 0;
    bool good = query_count(store, &query, &ignored, reterr);
    arena_free(arena);
    return good || error_context(reterr, "store channels");
}

void samples_channels_query(struct query *query, const struct store *store,
                            const char *recording_id)
{
    query_start(query, store, &statements[CHANNELS_SELECT]);
    query_id(query, recording_id);
}

static bool read_channel(const struct rows *rows, struct arena *arena, int row,
                         struct recording_channel_row *channel)
{
    const char *signal = rows_text(rows, arena, row, COLUMN_SIGNAL);
    const char *encoding = rows_text(rows, arena, row, COLUMN_ENCODING);
    *channel = (struct recording_channel_row){
        .number = rows_int(rows, row, COLUMN_NUMBER),
        .signal = signal_from_name(signal),
        .unit = rows_text(rows, arena, row, COLUMN_UNIT),
        .rate_hz = rows_double(rows, row, COLUMN_RATE),
        .start_s = rows_double(rows, row, COLUMN_START),
        .shape = {.decimals = rows_int(rows, row, COLUMN_DECIMALS),
                  .scale = rows_double(rows, row, COLUMN_SCALE),
                  .offset = rows_double(rows, row, COLUMN_OFFSET),
                  .count = (size_t)rows_int64(rows, row, COLUMN_COUNT),
                  .missing = (size_t)rows_int64(rows, row, COLUMN_MISSING)},
    };
    return channel->signal != SIGNAL_NONE &&
           sample_encoding_from_name(encoding, &channel->shape.encoding);
}

bool samples_channels_read(const struct rows *rows, struct arena *arena, struct recording_row *row,
                           struct error *reterr)
{
    row->channel_count = (size_t)rows->count;
    row->channels = arena_array(arena, row->channel_count, sizeof *row->channels);
    for (int i = 0; i < rows->count; i++) {
        if (!read_channel(rows, arena, i, &row->channels[i])) {
            return error_set(reterr, ERROR_INTERNAL,
                             "channel %d of recording %s is of a kind unknown to this program", i,
                             row->id);
        }
    }
    return true;
}

/* ---- writing blocks ---- */

enum block_column {
    BLOCK_CHANNEL,
    BLOCK_NUMBER,
    BLOCK_SAMPLES,
    BLOCK_CHECKSUM,
    BLOCK_DATA,
    BLOCK_COLUMN_COUNT
};

static const enum binary_array_type block_column_types[BLOCK_COLUMN_COUNT] = {
    [BLOCK_CHANNEL] = BINARY_ARRAY_INT4, [BLOCK_NUMBER] = BINARY_ARRAY_INT4,
    [BLOCK_SAMPLES] = BINARY_ARRAY_INT4, [BLOCK_CHECKSUM] = BINARY_ARRAY_INT8,
    [BLOCK_DATA] = BINARY_ARRAY_BYTEA,
};

/* Blocks that go into the database with one statement. */
struct block_batch {
    struct store *store;
    const char *recording_id;
    struct arena
        *arena; /* of this batch only: an upload may be as large as a batch a hundredfold */
    struct binary_array columns[BLOCK_COLUMN_COUNT];
};

static void batch_begin(struct block_batch *batch)
{
    batch->arena = arena_new();
    for (size_t c = 0; c < BLOCK_COLUMN_COUNT; c++) {
        binary_array_init(&batch->columns[c], batch->arena, block_column_types[c], ARRAY_BYTES_MAX);
    }
}

/* Stores what the batch holds and begins the next one. */
static bool batch_flush(struct block_batch *batch, struct error *reterr)
{
    bool good = true;
    if (batch->columns[BLOCK_DATA].count > 0) {
        struct query query;
        query_start(&query, batch->store, &statements[BLOCKS_INSERT]);
        query_id(&query, batch->recording_id);
        for (size_t c = 0; c < BLOCK_COLUMN_COUNT; c++) {
            query_array(&query, &batch->columns[c]);
        }
        int ignored = 0;
        good = query_count(batch->store, &query, &ignored, reterr);
    }
    arena_free(batch->arena);
    batch_begin(batch);
    return good;
}

static bool batch_add(struct block_batch *batch, size_t channel, const struct samples *samples,
                      size_t number, struct error *reterr)
{
    struct sample_block block;
    if (!sample_block_encode(batch->store->codec, samples, number, &block, reterr)) {
        return error_context(reterr, "channel %zu, block %zu", channel, number);
    }
    binary_array_int4(&batch->columns[BLOCK_CHANNEL], (int32_t)channel);
    binary_array_int4(&batch->columns[BLOCK_NUMBER], (int32_t)number);
    binary_array_int4(&batch->columns[BLOCK_SAMPLES], (int32_t)block.sample_count);
    binary_array_int8(&batch->columns[BLOCK_CHECKSUM], (int64_t)block.checksum);
    binary_array_bytes(&batch->columns[BLOCK_DATA], block.data, block.length);
    bool full = batch->columns[BLOCK_DATA].count >= BATCH_BLOCKS ||
                batch->columns[BLOCK_DATA].bytes.length >= BATCH_BYTES;
    return !full || batch_flush(batch, reterr);
}

bool samples_store_blocks(struct store *store, const char *recording_id,
                          const struct recording_document *document, struct error *reterr)
{
    struct block_batch batch = {.store = store, .recording_id = recording_id};
    batch_begin(&batch);
    bool good = true;
    for (size_t c = 0; good && c < document->channel_count; c++) {
        const struct samples *samples = &document->channels[c].samples;
        size_t block_count = sample_block_count(samples->count);
        for (size_t b = 0; good && b < block_count; b++) {
            good = batch_add(&batch, c, samples, b, reterr);
        }
    }
    good = good && batch_flush(&batch, reterr);
    arena_free(batch.arena);
    return good || error_context(reterr, "store samples");
}

/* ---- reading blocks ---- */

/* Samples [from_index, to_index) of a channel are wanted, into `codes`. */
struct block_reader {
    struct store *store;
    const char *recording_id;
    const struct recording_channel_row *channel;
    size_t from_index;
    size_t to_index;
    uint8_t *codes;
};

/* Decodes a block whose first sample is number `first` and keeps of it what is wanted. */
static bool decode_block(const struct block_reader *reader, const struct sample_block *block,
                         size_t first, struct error *reterr)
{
    const struct samples *shape = &reader->channel->shape;
    size_t width = sample_encoding_width(shape->encoding);
    size_t end = first + block->sample_count;
    if (first >= reader->from_index && end <= reader->to_index) {
        return sample_block_decode(reader->store->codec, shape->encoding, block,
                                   reader->codes + (first - reader->from_index) * width, reterr);
    }

    union {
        uint8_t bytes[SAMPLE_BLOCK_LENGTH * sizeof(double)];
        double aligned;
    } decoded;

    if (!sample_block_decode(reader->store->codec, shape->encoding, block, decoded.bytes, reterr)) {
        return false;
    }
    size_t from = first > reader->from_index ? first : reader->from_index;
    size_t to = end < reader->to_index ? end : reader->to_index;
    memcpy(reader->codes + (from - reader->from_index) * width,
           decoded.bytes + (from - first) * width, (to - from) * width);
    return true;
}

static bool read_block(const struct block_reader *reader, const struct rows *rows, int row,
                       size_t number, struct error *reterr)
{
    size_t first = number * SAMPLE_BLOCK_LENGTH;
    size_t left = reader->channel->shape.count - first;
    size_t expected = left < SAMPLE_BLOCK_LENGTH ? left : SAMPLE_BLOCK_LENGTH;
    struct sample_block block = {
        .sample_count = (uint32_t)rows_binary_int(rows, row, 1),
        .checksum = (uint32_t)rows_binary_int(rows, row, 2),
    };
    block.data = rows_bytes(rows, row, 3, &block.length);
    if ((size_t)rows_binary_int(rows, row, 0) != number || block.sample_count != expected) {
        return error_set(reterr, ERROR_INTERNAL, "sample block missing or of a wrong size");
    }
    return decode_block(reader, &block, first, reterr);
}

/* Reads blocks [first, last], at most READ_BLOCKS. */
static bool read_blocks(const struct block_reader *reader, size_t first, size_t last,
                        struct error *reterr)
{
    struct query query;
    query_start(&query, reader->store, &statements[BLOCKS_SELECT]);
    query_id(&query, reader->recording_id);
    query_int(&query, reader->channel->number);
    query_int(&query, (int64_t)first);
    query_int(&query, (int64_t)last);
    struct rows rows;
    if (!query_run(reader->store, &query, &rows, reterr)) {
        return false;
    }
    bool good = true;
    for (size_t number = first; good && number <= last; number++) {
        int row = (int)(number - first);
        good = row < rows.count ? read_block(reader, &rows, row, number, reterr)
                                : error_set(reterr, ERROR_INTERNAL, "sample block missing");
        if (!good) {
            error_context(reterr, "recording %s, channel %d, block %zu", reader->recording_id,
                          reader->channel->number, number);
        }
    }
    rows_clear(&rows);
    return good;
}

static bool read_span(const struct block_reader *reader, struct error *reterr)
{
    size_t count = reader->channel->shape.count;
    if (reader->from_index > reader->to_index || reader->to_index > count) {
        return error_set(reterr, ERROR_INTERNAL, "samples beyond the end of channel %d of %s",
                         reader->channel->number, reader->recording_id);
    }
    if (reader->from_index == reader->to_index) {
        return true;
    }
    size_t last = (reader->to_index - 1) / SAMPLE_BLOCK_LENGTH;
    bool good = true;
    for (size_t first = reader->from_index / SAMPLE_BLOCK_LENGTH; good && first <= last;
         first += READ_BLOCKS) {
        size_t end = first + READ_BLOCKS - 1;
        good = read_blocks(reader, first, end < last ? end : last, reterr);
    }
    return good;
}

bool recording_samples(struct store *store, struct arena *arena, const char *id,
                       const struct recording_channel_row *channel, size_t from_index, size_t count,
                       struct samples *ret_samples, struct error *reterr)
{
    size_t width = sample_encoding_width(channel->shape.encoding);
    struct block_reader reader = {
        .store = store,
        .recording_id = id,
        .channel = channel,
        .from_index = from_index,
        .to_index = count <= SIZE_MAX - from_index ? from_index + count : SIZE_MAX,
    };
    if (reader.to_index <= channel->shape.count) { /* or read_span() refuses it */
        reader.codes = arena_array(arena, count, width);
    }
    if (!read_span(&reader, reterr)) {
        return false;
    }
    *ret_samples = channel->shape;
    ret_samples->count = count;
    ret_samples->codes = reader.codes;
    return true;
}
