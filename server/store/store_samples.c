#include "store/store_samples.h"

#include "formats/derived_pressure.h"
#include "formats/overview.h"
#include "store/connection.h"

#include <string.h>

enum {
    /* Of one INSERT: below work_mem, so that unnest() does not spill. */
    BATCH_BYTES = 2 * 1024 * 1024,
    ARRAY_BYTES_MAX = 8 * 1024 * 1024,
    BATCH_BLOCKS = 512,
    READ_BLOCKS = 512, /* of one SELECT, at most */
    DERIVED_CHANNEL = -1
};

enum samples_statement {
    CHANNELS_INSERT,
    CHANNELS_SELECT,
    CHANNELS_SELECT_STUDY,
    BLOCKS_INSERT,
    BLOCKS_SELECT,
    SAMPLES_STATEMENT_COUNT
};

#define CHANNEL_COLUMNS                                                                            \
    "number, signal, unit, rate_hz, start_s, encoding, decimals, scale, value_offset,"             \
    " sample_count, missing_count"

static const struct statement statements[] = {
    [CHANNELS_INSERT] = {.name = "channels_insert",
                         .sql = "insert into penstock.recording_channel (clinic_id, recording_id,"
                                " number, signal, unit, rate_hz, start_s, encoding, decimals,"
                                " scale, value_offset, sample_count, missing_count)"
                                " select $1, $2, c.* from unnest($3::int4[], $4::text[],"
                                " $5::text[], $6::float8[], $7::float8[], $8::text[], $9::int4[],"
                                " $10::float8[], $11::float8[], $12::int8[], $13::int8[]) as c"},
    [CHANNELS_SELECT] = {.name = "channels_select",
                         .sql = "select " CHANNEL_COLUMNS ", recording_id"
                                " from penstock.recording_channel"
                                " where clinic_id = $1 and recording_id = $2 order by number"},
    [CHANNELS_SELECT_STUDY] = {.name = "channels_select_study",
                               .sql = "select " CHANNEL_COLUMNS ", c.recording_id"
                                      " from penstock.recording r"
                                      " join penstock.recording_channel c"
                                      " on c.clinic_id = r.clinic_id and c.recording_id = r.id"
                                      " where r.clinic_id = $1 and r.study_id = $2"
                                      " order by c.recording_id, c.number"},
    [BLOCKS_INSERT] = {.name = "blocks_insert",
                       .sql = "insert into penstock.sample_block (clinic_id, recording_id,"
                              " received_on, channel_number, level, block_number, sample_count,"
                              " checksum, data) select $1, $2, $3, unnest($4::int4[]),"
                              " unnest($5::int4[]), unnest($6::int4[]), unnest($7::int4[]),"
                              " unnest($8::int8[]), unnest($9::bytea[])"},
    /* One look into the index for each range, however long the recording: channels and levels as
     * conditions of one scan would walk past every block of it. */
    [BLOCKS_SELECT] = {.name = "blocks_select",
                       .sql = "select range.place, b.block_number, b.sample_count,"
                              " b.checksum, b.data"
                              " from unnest($4::int4[], $5::int4[], $6::int4[], $7::int4[])"
                              " with ordinality"
                              " as range (channel_number, level, first, last, place),"
                              " lateral (select block_number, sample_count, checksum, data"
                              " from penstock.sample_block where clinic_id = $1"
                              " and recording_id = $2 and received_on = $3"
                              " and channel_number = range.channel_number"
                              " and level = range.level"
                              " and block_number between range.first and range.last"
                              " order by block_number) as b"
                              " order by range.place, b.block_number",
                       .binary_result = true,
                       .plan_once = true},
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

static bool store_channels(struct store *store, const char *recording_id,
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

void samples_channels_of_study_query(struct query *query, const struct store *store,
                                     const char *study_id)
{
    query_start(query, store, &statements[CHANNELS_SELECT_STUDY]);
    query_id(query, study_id);
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

/* Less than, equal to or greater than 0, as the row's recording comes before `id`, is it, or comes
 * after it. Text in lower case has the order of the UUIDs. */
static int compare_recording(const struct rows *rows, int row, const char *id)
{
    size_t length = 0;
    const uint8_t *recording_id = rows_bytes(rows, row, CHANNEL_COLUMN_COUNT, &length);
    return strncmp((const char *)recording_id, id, length);
}

/* The first row of the recording, or of the next one: a study may have thousands of them, and each
 * asks for its own rows among those of all. */
static int first_row_of(const struct rows *rows, const char *id)
{
    int low = 0;
    int high = rows->count;
    while (low < high) {
        int middle = low + (high - low) / 2;
        if (compare_recording(rows, middle, id) < 0) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

bool samples_channels_read(const struct rows *rows, struct arena *arena, struct recording_row *row,
                           struct error *reterr)
{
    int first = first_row_of(rows, row->id);
    int end = first;
    while (end < rows->count && compare_recording(rows, end, row->id) == 0) {
        end++;
    }
    row->channel_count = (size_t)(end - first);
    row->channels = arena_array(arena, row->channel_count, sizeof *row->channels);
    for (size_t i = 0; i < row->channel_count; i++) {
        if (!read_channel(rows, arena, first + (int)i, &row->channels[i])) {
            return error_set(reterr, ERROR_INTERNAL,
                             "channel %zu of recording %s is of a kind unknown to this program", i,
                             row->id);
        }
    }
    return true;
}

/* ---- detrusor pressure that was not recorded ---- */

static bool grids_fit(const struct pressure_grid *pves, const struct pressure_grid *pabd)
{
    return pves->unit != NULL && pabd->unit != NULL && derived_pressure_fits(pves, pabd);
}

const struct recording_channel_row *recording_channel_of(const struct recording_row *row,
                                                         enum signal_kind signal)
{
    for (size_t i = 0; i < row->channel_count; i++) {
        if (row->channels[i].signal == signal) {
            return &row->channels[i];
        }
    }
    return NULL;
}

static struct pressure_grid grid_of_row(const struct recording_channel_row *row)
{
    return row == NULL ? (struct pressure_grid){0}
                       : (struct pressure_grid){.rate_hz = row->rate_hz,
                                                .start_s = row->start_s,
                                                .unit = row->unit,
                                                .count = row->shape.count};
}

bool recording_derived_pdet(const struct recording_row *row, struct recording_channel_row *ret_pdet)
{
    const struct recording_channel_row *pves = recording_channel_of(row, SIGNAL_PVES);
    struct pressure_grid minuend = grid_of_row(pves);
    struct pressure_grid subtrahend = grid_of_row(recording_channel_of(row, SIGNAL_PABD));
    if (recording_channel_of(row, SIGNAL_PDET) != NULL || !grids_fit(&minuend, &subtrahend)) {
        return false;
    }
    *ret_pdet = *pves;
    ret_pdet->number = DERIVED_CHANNEL;
    ret_pdet->signal = SIGNAL_PDET;
    ret_pdet->shape = derived_pressure_shape();
    ret_pdet->shape.count = pves->shape.count;
    return true;
}

/* ---- writing blocks ---- */

enum block_column {
    BLOCK_CHANNEL,
    BLOCK_LEVEL,
    BLOCK_NUMBER,
    BLOCK_SAMPLES,
    BLOCK_CHECKSUM,
    BLOCK_DATA,
    BLOCK_COLUMN_COUNT
};

static const enum binary_array_type block_column_types[BLOCK_COLUMN_COUNT] = {
    [BLOCK_CHANNEL] = BINARY_ARRAY_INT4,  [BLOCK_LEVEL] = BINARY_ARRAY_INT4,
    [BLOCK_NUMBER] = BINARY_ARRAY_INT4,   [BLOCK_SAMPLES] = BINARY_ARRAY_INT4,
    [BLOCK_CHECKSUM] = BINARY_ARRAY_INT8, [BLOCK_DATA] = BINARY_ARRAY_BYTEA,
};

/* Blocks that go into the database with one statement. */
struct block_batch {
    struct store *store;
    const char *recording_id;
    const char *received_on;
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
        query_text(&query, batch->received_on);
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

static bool batch_add(struct block_batch *batch, int channel, int level,
                      const struct samples *samples, size_t number, struct error *reterr)
{
    struct sample_block block;
    if (!sample_block_encode(batch->store->codec, samples, number, &block, reterr)) {
        return error_context(reterr, "channel %d, level %d, block %zu", channel, level, number);
    }
    binary_array_int4(&batch->columns[BLOCK_CHANNEL], channel);
    binary_array_int4(&batch->columns[BLOCK_LEVEL], level);
    binary_array_int4(&batch->columns[BLOCK_NUMBER], (int32_t)number);
    binary_array_int4(&batch->columns[BLOCK_SAMPLES], (int32_t)block.sample_count);
    binary_array_int8(&batch->columns[BLOCK_CHECKSUM], (int64_t)block.checksum);
    binary_array_bytes(&batch->columns[BLOCK_DATA], block.data, block.length);
    bool full = batch->columns[BLOCK_DATA].count >= BATCH_BLOCKS ||
                batch->columns[BLOCK_DATA].bytes.length >= BATCH_BYTES;
    return !full || batch_flush(batch, reterr);
}

static bool batch_add_all(struct block_batch *batch, int channel, int level,
                          const struct samples *samples, struct error *reterr)
{
    bool good = true;
    size_t block_count = sample_block_count(samples->count);
    for (size_t b = 0; good && b < block_count; b++) {
        good = batch_add(batch, channel, level, samples, b, reterr);
    }
    return good;
}

int samples_level(int overview_level, enum sample_extreme extreme)
{
    return overview_level == 0 ? 0 : 2 * overview_level - (extreme == SAMPLE_LEAST ? 1 : 0);
}

static bool batch_add_overview(struct block_batch *batch, int channel,
                               const struct samples *samples, struct error *reterr)
{
    struct arena *arena = arena_new();
    struct samples least = *samples;
    struct samples greatest = *samples;
    bool good = true;
    for (int level = 1; good && overview_exists(samples->count, level); level++) {
        struct samples finer_least = least;
        struct samples finer_greatest = greatest;
        overview_make(&finer_least, &finer_greatest, level, arena, &least, &greatest);
        good =
            batch_add_all(batch, channel, samples_level(level, SAMPLE_LEAST), &least, reterr) &&
            batch_add_all(batch, channel, samples_level(level, SAMPLE_GREATEST), &greatest, reterr);
    }
    arena_free(arena);
    return good;
}

static const struct document_channel *find_channel(const struct recording_document *document,
                                                   enum signal_kind signal)
{
    for (size_t i = 0; i < document->channel_count; i++) {
        if (document->channels[i].signal == signal) {
            return &document->channels[i];
        }
    }
    return NULL;
}

static struct pressure_grid grid_of_channel(const struct document_channel *channel)
{
    return channel == NULL ? (struct pressure_grid){0}
                           : (struct pressure_grid){.rate_hz = channel->rate_hz,
                                                    .start_s = channel->start_s,
                                                    .unit = channel->unit,
                                                    .count = channel->samples.count};
}

/* The overview of what recording_derived_pdet() finds. */
static bool batch_add_derived(struct block_batch *batch, const struct recording_document *document,
                              struct error *reterr)
{
    const struct document_channel *pves = find_channel(document, SIGNAL_PVES);
    const struct document_channel *pabd = find_channel(document, SIGNAL_PABD);
    struct pressure_grid minuend = grid_of_channel(pves);
    struct pressure_grid subtrahend = grid_of_channel(pabd);
    if (find_channel(document, SIGNAL_PDET) != NULL || !grids_fit(&minuend, &subtrahend) ||
        !overview_exists(minuend.count, 1)) {
        return true;
    }
    struct arena *arena = arena_new();
    struct samples pdet;
    derived_pressure_for_drawing(&pves->samples, &pabd->samples, arena, &pdet);
    bool good = batch_add_overview(batch, DERIVED_CHANNEL, &pdet, reterr);
    arena_free(arena);
    return good;
}

static bool store_blocks(struct store *store, const char *recording_id, const char *received_on,
                         const struct recording_document *document, struct error *reterr)
{
    struct block_batch batch = {
        .store = store, .recording_id = recording_id, .received_on = received_on};
    batch_begin(&batch);
    bool good = true;
    for (size_t c = 0; good && c < document->channel_count; c++) {
        const struct samples *samples = &document->channels[c].samples;
        good = batch_add_all(&batch, (int)c, 0, samples, reterr) &&
               batch_add_overview(&batch, (int)c, samples, reterr);
    }
    good = good && batch_add_derived(&batch, document, reterr) && batch_flush(&batch, reterr);
    arena_free(batch.arena);
    return good || error_context(reterr, "store samples");
}

bool samples_store(struct store *store, const char *recording_id, const char *received_on,
                   const struct recording_document *document, struct error *reterr)
{
    return store_channels(store, recording_id, document, reterr) &&
           store_blocks(store, recording_id, received_on, document, reterr);
}

/* ---- reading blocks ---- */

/* Columns of BLOCKS_SELECT. */
enum { BLOCK_ROW_PLACE, BLOCK_ROW_NUMBER, BLOCK_ROW_SAMPLES, BLOCK_ROW_CHECKSUM, BLOCK_ROW_DATA };

/* Blocks [first, last] of a part. */
struct block_range {
    const struct recording_part *part;
    size_t first;
    size_t last;
};

/* Codes that the part's channel has at the part's level. */
static size_t codes_of_level(const struct recording_part *part)
{
    return overview_count(part->channel->shape.count, part->level);
}

/* Decodes a block whose first code is number `first` and keeps of it what is wanted. */
static bool decode_block(struct sample_codec *codec, const struct recording_part *part,
                         const struct sample_block *block, size_t first, struct error *reterr)
{
    enum sample_encoding encoding = part->channel->shape.encoding;
    size_t width = sample_encoding_width(encoding);
    uint8_t *codes = part->codes;
    size_t end = first + block->sample_count;
    size_t wanted_end = part->first + part->count;
    if (first >= part->first && end <= wanted_end) {
        return sample_block_decode(codec, encoding, block, codes + (first - part->first) * width,
                                   reterr);
    }
    uint8_t decoded[SAMPLE_BLOCK_LENGTH * sizeof(double)];
    if (!sample_block_decode(codec, encoding, block, decoded, reterr)) {
        return false;
    }
    size_t from = first > part->first ? first : part->first;
    size_t to = end < wanted_end ? end : wanted_end;
    memcpy(codes + (from - part->first) * width, decoded + (from - first) * width,
           (to - from) * width);
    return true;
}

static bool read_block(struct sample_codec *codec, const struct recording_part *part, size_t number,
                       const struct rows *rows, int row, struct error *reterr)
{
    size_t first = number * SAMPLE_BLOCK_LENGTH;
    size_t left = codes_of_level(part) - first;
    size_t expected = left < SAMPLE_BLOCK_LENGTH ? left : SAMPLE_BLOCK_LENGTH;
    struct sample_block block = {
        .sample_count = (uint32_t)rows_binary_int(rows, row, BLOCK_ROW_SAMPLES),
        .checksum = (uint32_t)rows_binary_int(rows, row, BLOCK_ROW_CHECKSUM),
    };
    block.data = rows_bytes(rows, row, BLOCK_ROW_DATA, &block.length);
    if (block.sample_count != expected) {
        return error_set(reterr, ERROR_INTERNAL, "sample block of a wrong size");
    }
    return decode_block(codec, part, &block, first, reterr);
}

static bool select_ranges(struct store *store, const struct recording_row *row,
                          const struct block_range *ranges, size_t count, struct rows *ret_rows,
                          struct error *reterr)
{
    enum { CHANNEL, LEVEL, FIRST, LAST, COLUMNS };

    struct arena *arena = arena_new();
    struct binary_array columns[COLUMNS];
    for (size_t c = 0; c < COLUMNS; c++) {
        binary_array_init(&columns[c], arena, BINARY_ARRAY_INT4, ARRAY_BYTES_MAX);
    }
    for (size_t i = 0; i < count; i++) {
        const struct recording_part *part = ranges[i].part;
        binary_array_int4(&columns[CHANNEL], part->channel->number);
        binary_array_int4(&columns[LEVEL], samples_level(part->level, part->extreme));
        binary_array_int4(&columns[FIRST], (int32_t)ranges[i].first);
        binary_array_int4(&columns[LAST], (int32_t)ranges[i].last);
    }
    struct query query;
    query_start(&query, store, &statements[BLOCKS_SELECT]);
    query_id(&query, row->id);
    query_text(&query, row->received_on);
    for (size_t c = 0; c < COLUMNS; c++) {
        query_array(&query, &columns[c]);
    }
    bool good = query_run(store, &query, ret_rows, reterr);
    arena_free(arena);
    return good;
}

/* Whether a row is block `number` of the range with this index: they are counted from 1. */
static bool is_block(const struct rows *rows, int row, size_t range, size_t number)
{
    return row < rows->count && (size_t)rows_binary_int(rows, row, BLOCK_ROW_PLACE) == range + 1 &&
           (size_t)rows_binary_int(rows, row, BLOCK_ROW_NUMBER) == number;
}

/* Reads the ranges with one query. */
static bool read_ranges(struct store *store, const struct recording_row *row,
                        const struct block_range *ranges, size_t count, struct error *reterr)
{
    struct rows rows;
    if (!select_ranges(store, row, ranges, count, &rows, reterr)) {
        return false;
    }
    bool good = true;
    int next = 0;
    for (size_t i = 0; good && i < count; i++) {
        const struct recording_part *part = ranges[i].part;
        for (size_t number = ranges[i].first; good && number <= ranges[i].last; number++) {
            good = is_block(&rows, next, i, number)
                       ? read_block(store->codec, part, number, &rows, next++, reterr)
                       : error_set(reterr, ERROR_INTERNAL, "sample block missing");
            good = good || error_context(reterr, "recording %s, channel %d, level %d, block %zu",
                                         row->id, part->channel->number,
                                         samples_level(part->level, part->extreme), number);
        }
    }
    rows_clear(&rows);
    return good;
}

/* Checks the part and makes room for its codes. */
static bool prepare_part(struct arena *arena, const struct recording_row *row,
                         struct recording_part *part, struct error *reterr)
{
    size_t count = codes_of_level(part);
    if (part->level != 0 &&
        !(row->has_overview && overview_exists(part->channel->shape.count, part->level))) {
        return error_set(reterr, ERROR_INTERNAL, "channel %d of %s has no overview level %d",
                         part->channel->number, row->id, part->level);
    }
    if (part->first > count || part->count > count - part->first) {
        return error_set(reterr, ERROR_INTERNAL, "samples beyond the end of channel %d of %s",
                         part->channel->number, row->id);
    }
    part->samples = part->channel->shape;
    part->samples.count = part->count;
    part->codes =
        arena_array(arena, part->count, sample_encoding_width(part->channel->shape.encoding));
    part->samples.codes = part->codes;
    return true;
}

bool recording_read_parts(struct store *store, struct arena *arena, const struct recording_row *row,
                          struct recording_part *parts, size_t count, struct error *reterr)
{
    for (size_t i = 0; i < count; i++) {
        if (!prepare_part(arena, row, &parts[i], reterr)) {
            return false;
        }
    }
    struct block_range *ranges = arena_array(arena, count, sizeof *ranges);
    size_t range_count = 0;
    size_t room = READ_BLOCKS;
    for (size_t i = 0; i < count; i++) {
        size_t first = parts[i].first / SAMPLE_BLOCK_LENGTH;
        size_t end = sample_block_count(parts[i].first + parts[i].count);
        while (parts[i].count > 0 && first < end) {
            size_t taken = end - first < room ? end - first : room;
            ranges[range_count++] = (struct block_range){&parts[i], first, first + taken - 1};
            first += taken;
            room -= taken;
            if (room == 0) {
                if (!read_ranges(store, row, ranges, range_count, reterr)) {
                    return false;
                }
                range_count = 0;
                room = READ_BLOCKS;
            }
        }
    }
    return range_count == 0 || read_ranges(store, row, ranges, range_count, reterr);
}

bool recording_samples(struct store *store, struct arena *arena, const struct recording_row *row,
                       const struct recording_channel_row *channel, size_t first, size_t count,
                       struct samples *ret_samples, struct error *reterr)
{
    struct recording_part part = {.channel = channel, .first = first, .count = count};
    if (!recording_read_parts(store, arena, row, &part, 1, reterr)) {
        return false;
    }
    *ret_samples = part.samples;
    return true;
}
