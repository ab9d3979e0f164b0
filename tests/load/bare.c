/* What storing and reading the sample blocks of a recording costs at the least: the same rows, in a
 * plain table or read from where they are, by libpq alone.
 *
 *   bare insert CONNINFO RECORDING_ID
 *       Copies the rows into the table bare_block, which has the same columns and key, but neither
 *       row security nor triggers nor partitions; in one durable transaction by binary COPY, and
 *       again in another by INSERT ... SELECT unnest(). Prints "copy_ms", "unnest_ms", "rows" and
 *       "bytes" (of data).
 *
 *   bare pack CONNINFO FILE CHANNELS
 *       Packs the int16 of FILE, a channel after the other, into blocks of 4,096 and copies them in
 *       one durable transaction: what an upload cannot do without, in one thread. As the server
 *       packs and keeps them (differences, zigzag, bytes of one weight together, zstd level 1,
 *       CRC-32, the columns and the key of bare_block) it takes "pack_ms" and gives "pack_bytes".
 *       With differences and zstd level 1, in a table of three integers and the data with an index
 *       on the integers, it takes "plain_ms" and gives "plain_bytes".
 *
 *   bare select CONNINFO RECORDING_ID LEVELS FIRST_BLOCK LAST_BLOCK TIMES
 *       Reads these blocks of these levels ("3,4") of all channels by one prepared statement on the
 *       primary key. Prints the medians "select_ms", of the statement that anyone would write, and
 *       "least_ms", of the fastest of three ways; "rows" and "bytes".
 *
 * The connection must be allowed to see every row. */
#include <arpa/inet.h>
#include <libpq-fe.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>
#include <zlib.h>
#include <zstd.h>

enum { BINARY = 1, TIMES_MAX = 100000, COPY_PORTION = 1 << 20, UUID_SIZE = 16 };

enum { BLOCK = 4096, RAW = BLOCK * (int)sizeof(int16_t), CHANNELS_MAX = 64, ZSTD_LEVEL = 1 };

enum { PACKED_SIZE = 1 + ZSTD_COMPRESSBOUND(RAW) };

enum { OID_BYTEA = 17, OID_INT8 = 20, OID_INT4 = 23, OID_DATE = 1082, OID_UUID = 2950 };

enum column {
    CLINIC,
    RECORDING,
    CHANNEL,
    LEVEL,
    NUMBER,
    RECEIVED_ON,
    SAMPLE_COUNT,
    CHECKSUM,
    DATA,
    COLUMN_COUNT
};

static const Oid column_types[COLUMN_COUNT] = {
    [CLINIC] = OID_UUID,       [RECORDING] = OID_UUID, [CHANNEL] = OID_INT4,
    [LEVEL] = OID_INT4,        [NUMBER] = OID_INT4,    [RECEIVED_ON] = OID_DATE,
    [SAMPLE_COUNT] = OID_INT4, [CHECKSUM] = OID_INT8,  [DATA] = OID_BYTEA,
};

#define COLUMNS                                                                                    \
    "clinic_id, recording_id, channel_number, level, block_number, received_on, sample_count,"     \
    " checksum, data"

static const char CREATE[] =
    "create table if not exists bare_block (clinic_id uuid not null, recording_id uuid not null,"
    " channel_number integer not null, level integer not null, block_number integer not null,"
    " received_on date not null, sample_count integer not null, checksum bigint not null,"
    " data bytea not null,"
    " primary key (clinic_id, recording_id, channel_number, level, block_number, received_on));"
    " alter table bare_block alter column data set storage external;"
    "create table if not exists bare_plain (recording integer, channel integer, number integer,"
    " data bytea);"
    " create index if not exists bare_plain_place on bare_plain (recording, channel, number);"
    " alter table bare_plain alter column data set storage external";

static const char INSERT[] =
    "insert into bare_block (" COLUMNS ") select $1::uuid, $2::uuid, b.channel_number, b.level,"
    " b.block_number, $6::date, b.sample_count, b.checksum, b.data"
    " from unnest($3::int4[], $4::int4[], $5::int4[], $7::int4[], $8::int8[], $9::bytea[])"
    " as b (channel_number, level, block_number, sample_count, checksum, data)";

/* ---- small things ---- */

static void fail(const char *what, const char *detail)
{
    fprintf(stderr, "bare: %s: %s\n", what, detail);
    _Exit(EXIT_FAILURE);
}

static double now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return 1e3 * (double)now.tv_sec + 1e-6 * (double)now.tv_nsec;
}

static int compare(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

/* The result, which must be of this status. */
static PGresult *expect(PGconn *connection, PGresult *result, ExecStatusType status)
{
    if (PQresultStatus(result) != status) {
        fail("the database refused", PQerrorMessage(connection));
    }
    return result;
}

static void command(PGconn *connection, const char *sql)
{
    PQclear(expect(connection, PQexec(connection, sql), PGRES_COMMAND_OK));
}

static PGconn *connect_to(const char *conninfo)
{
    PGconn *connection = PQconnectdb(conninfo);
    if (PQstatus(connection) != CONNECTION_OK) {
        fail("no connection", PQerrorMessage(connection));
    }
    return connection;
}

static size_t data_bytes(const PGresult *rows, int column)
{
    size_t bytes = 0;
    for (int r = 0; r < PQntuples(rows); r++) {
        bytes += (size_t)PQgetlength(rows, r, column);
    }
    return bytes;
}

/* ---- bytes for the database ---- */

struct buffer {
    char *bytes;
    size_t length;
    size_t capacity;
};

static void append(struct buffer *buffer, const void *bytes, size_t length)
{
    if (length > buffer->capacity - buffer->length) {
        buffer->capacity = 2 * (buffer->capacity + length);
        buffer->bytes = realloc(buffer->bytes, buffer->capacity);
        if (buffer->bytes == NULL) {
            fail("out of memory", "");
        }
    }
    memcpy(buffer->bytes + buffer->length, bytes, length);
    buffer->length += length;
}

static void append_int32(struct buffer *buffer, int32_t number)
{
    uint32_t wire = htonl((uint32_t)number);
    append(buffer, &wire, sizeof wire);
}

static void append_int16(struct buffer *buffer, int16_t number)
{
    uint16_t wire = htons((uint16_t)number);
    append(buffer, &wire, sizeof wire);
}

/* A field with its length, as COPY and arrays have it. The copy gets an id of its own. */
static void append_field(struct buffer *buffer, const PGresult *rows, int row, int column,
                         const uint8_t id[UUID_SIZE])
{
    const char *value = column == RECORDING ? (const char *)id : PQgetvalue(rows, row, column);
    append_int32(buffer, PQgetlength(rows, row, column));
    append(buffer, value, (size_t)PQgetlength(rows, row, column));
}

static const char COPY_HEAD[] = "PGCOPY\n\377\r\n\0\0\0\0\0\0\0\0"; /* and the string's own end */

static struct buffer copy_stream(const PGresult *rows, int count, const uint8_t id[UUID_SIZE])
{
    struct buffer stream = {0};
    append(&stream, COPY_HEAD, sizeof COPY_HEAD);
    for (int r = 0; r < count; r++) {
        append_int16(&stream, COLUMN_COUNT);
        for (int c = 0; c < COLUMN_COUNT; c++) {
            append_field(&stream, rows, r, c, id);
        }
    }
    append_int16(&stream, -1);
    return stream;
}

static struct buffer column_array(const PGresult *rows, int count, int column,
                                  const uint8_t id[UUID_SIZE])
{
    struct buffer array = {0};
    append_int32(&array, 1); /* one dimension */
    append_int32(&array, 0); /* no nulls */
    append_int32(&array, (int32_t)column_types[column]);
    append_int32(&array, count);
    append_int32(&array, 1); /* the first index */
    for (int r = 0; r < count; r++) {
        append_field(&array, rows, r, column, id);
    }
    return array;
}

/* ---- inserting ---- */

static void new_id(uint8_t id[UUID_SIZE])
{
    if (getrandom(id, UUID_SIZE, 0) != UUID_SIZE) {
        fail("no random bytes", "");
    }
}

static void end_copy(PGconn *connection, const struct buffer *stream, const char *end)
{
    for (size_t at = 0; at < stream->length; at += COPY_PORTION) {
        size_t left = stream->length - at;
        int portion = (int)(left < COPY_PORTION ? left : COPY_PORTION);
        if (PQputCopyData(connection, stream->bytes + at, portion) != 1) {
            fail("copy", PQerrorMessage(connection));
        }
    }
    if (PQputCopyEnd(connection, NULL) != 1) {
        fail("copy", PQerrorMessage(connection));
    }
    PQclear(expect(connection, PQgetResult(connection), PGRES_COMMAND_OK));
    PQclear(PQgetResult(connection));
    command(connection, end);
}

/* Of one transaction with the first `count` rows; what is sent is made ready before. */
static double copy_ms(PGconn *connection, const PGresult *rows, int count, const char *end)
{
    uint8_t id[UUID_SIZE];
    new_id(id);
    struct buffer stream = copy_stream(rows, count, id);
    double begun_ms = now_ms();
    command(connection, "begin");
    PQclear(expect(connection,
                   PQexec(connection, "copy bare_block (" COLUMNS ") from stdin (format binary)"),
                   PGRES_COPY_IN));
    end_copy(connection, &stream, end);
    double took_ms = now_ms() - begun_ms;
    free(stream.bytes);
    return took_ms;
}

static double unnest_ms(PGconn *connection, const PGresult *rows, int count, const char *end)
{
    uint8_t id[UUID_SIZE];
    struct buffer arrays[COLUMN_COUNT] = {{0}};
    const char *values[COLUMN_COUNT];
    int lengths[COLUMN_COUNT];
    int formats[COLUMN_COUNT];
    new_id(id);
    for (int c = 0; c < COLUMN_COUNT; c++) {
        bool one_for_all = c == CLINIC || c == RECORDING || c == RECEIVED_ON;
        if (!one_for_all) {
            arrays[c] = column_array(rows, count, c, id);
        }
        values[c] = !one_for_all     ? arrays[c].bytes
                    : c == RECORDING ? (const char *)id
                                     : PQgetvalue(rows, 0, c);
        lengths[c] = one_for_all ? PQgetlength(rows, 0, c) : (int)arrays[c].length;
        formats[c] = BINARY;
    }
    double begun_ms = now_ms();
    command(connection, "begin");
    PQclear(
        expect(connection,
               PQexecPrepared(connection, "insert", COLUMN_COUNT, values, lengths, formats, BINARY),
               PGRES_COMMAND_OK));
    command(connection, end);
    double took_ms = now_ms() - begun_ms;
    for (int c = 0; c < COLUMN_COUNT; c++) {
        free(arrays[c].bytes);
    }
    return took_ms;
}

static void make_table(PGconn *connection)
{
    command(connection, "set client_min_messages = warning");
    command(connection, CREATE);
}

static void insert(PGconn *connection, const char *recording_id)
{
    const char *values[] = {recording_id};
    PGresult *rows =
        expect(connection,
               PQexecParams(connection,
                            "select " COLUMNS " from penstock.sample_block"
                            " where recording_id = $1::uuid and clinic_id = (select clinic_id"
                            " from penstock.recording where id = $1::uuid)",
                            1, NULL, values, NULL, NULL, BINARY),
               PGRES_TUPLES_OK);
    int count = PQntuples(rows);
    if (count == 0) {
        fail("no such recording", recording_id);
    }
    make_table(connection);
    PQclear(expect(connection, PQprepare(connection, "insert", INSERT, 0, NULL), PGRES_COMMAND_OK));
    /* A server's connection has long read what the catalogue says of the table. */
    (void)copy_ms(connection, rows, 1, "rollback");
    (void)unnest_ms(connection, rows, 1, "rollback");
    printf("copy_ms %.3f\n", copy_ms(connection, rows, count, "commit"));
    printf("unnest_ms %.3f\n", unnest_ms(connection, rows, count, "commit"));
    printf("rows %d\nbytes %zu\n", count, data_bytes(rows, DATA));
    PQclear(rows);
}

/* ---- packing ---- */

struct packer {
    ZSTD_CCtx *zstd;
    const int16_t *codes;
    int channels;
    size_t of_channel;
    uint8_t ids[2][UUID_SIZE]; /* clinic, recording */
    int32_t recording;         /* in bare_plain */
    struct buffer stream;
    size_t packed_bytes;
};

static void take_differences(const int16_t *codes, size_t count, uint16_t differences[BLOCK])
{
    differences[0] = (uint16_t)codes[0];
    for (size_t i = 1; i < count; i++) {
        differences[i] = (uint16_t)((uint16_t)codes[i] - (uint16_t)codes[i - 1]);
    }
}

/* As server/formats/sample_block.c describes it, in loops that a compiler can widen. */
static void arrange(uint16_t differences[BLOCK], size_t count, uint8_t raw[RAW])
{
    for (size_t i = 0; i < count; i++) {
        unsigned difference = differences[i];
        differences[i] = (uint16_t)(difference << 1 ^ (0U - (difference >> 15)));
    }
    for (size_t i = 0; i < count; i++) {
        raw[i] = (uint8_t)differences[i];
    }
    for (size_t i = 0; i < count; i++) {
        raw[count + i] = (uint8_t)(differences[i] >> 8);
    }
}

static void append_int_field(struct buffer *stream, int32_t number)
{
    append_int32(stream, sizeof number);
    append_int32(stream, number);
}

static void append_bytes_field(struct buffer *stream, const void *bytes, size_t length)
{
    append_int32(stream, (int32_t)length);
    append(stream, bytes, length);
}

/* Packs a block; its length behind the byte that names the arrangement. */
static size_t zstd_block(struct packer *packer, const void *from, size_t size,
                         uint8_t packed[PACKED_SIZE])
{
    size_t length =
        ZSTD_compressCCtx(packer->zstd, packed + 1, PACKED_SIZE - 1, from, size, ZSTD_LEVEL);
    if (ZSTD_isError(length) != 0) {
        fail("zstd", ZSTD_getErrorName(length));
    }
    return length;
}

static void append_block(struct packer *packer, int channel, int number, const int16_t *codes,
                         size_t count)
{
    const int32_t day = 8760; /* since 2000-01-01 */
    uint16_t differences[BLOCK];
    uint8_t raw[RAW];
    uint8_t packed[PACKED_SIZE];
    packed[0] = 1;
    take_differences(codes, count, differences);
    arrange(differences, count, raw);
    size_t length = 1 + zstd_block(packer, raw, count * sizeof *codes, packed);
    struct buffer *stream = &packer->stream;
    append_int16(stream, COLUMN_COUNT);
    append_bytes_field(stream, packer->ids[0], UUID_SIZE);
    append_bytes_field(stream, packer->ids[1], UUID_SIZE);
    append_int_field(stream, channel);
    append_int_field(stream, 0);
    append_int_field(stream, number);
    append_int_field(stream, day);
    append_int_field(stream, (int32_t)count);
    append_int32(stream, sizeof(int64_t));
    append_int32(stream, 0);
    append_int32(stream, (int32_t)(uint32_t)crc32_z(0, packed, length));
    append_bytes_field(stream, packed, length);
    packer->packed_bytes += length;
}

static void append_plain_block(struct packer *packer, int channel, int number, const int16_t *codes,
                               size_t count)
{
    const int16_t columns = 4;
    uint16_t differences[BLOCK];
    uint8_t packed[PACKED_SIZE];
    take_differences(codes, count, differences);
    size_t length = zstd_block(packer, differences, count * sizeof *codes, packed);
    append_int16(&packer->stream, columns);
    append_int_field(&packer->stream, packer->recording);
    append_int_field(&packer->stream, channel);
    append_int_field(&packer->stream, number);
    append_bytes_field(&packer->stream, packed + 1, length);
    packer->packed_bytes += length;
}

/* A way to keep blocks. */
struct way {
    const char *name;
    const char *copy;
    void (*append)(struct packer *packer, int channel, int number, const int16_t *codes,
                   size_t count);
};

static const struct way ways[] = {
    {"pack", "copy bare_block (" COLUMNS ") from stdin (format binary)", append_block},
    {"plain", "copy bare_plain (recording, channel, number, data) from stdin (format binary)",
     append_plain_block},
};

static double pack_ms(PGconn *connection, const struct way *way, struct packer *packer,
                      const char *end)
{
    new_id(packer->ids[0]);
    new_id(packer->ids[1]);
    packer->recording++;
    packer->stream.length = 0;
    packer->packed_bytes = 0;
    double begun_ms = now_ms();
    command(connection, "begin");
    PQclear(expect(connection, PQexec(connection, way->copy), PGRES_COPY_IN));
    append(&packer->stream, COPY_HEAD, sizeof COPY_HEAD);
    for (int c = 0; c < packer->channels; c++) {
        const int16_t *codes = packer->codes + (size_t)c * packer->of_channel;
        for (size_t first = 0; first < packer->of_channel; first += BLOCK) {
            size_t left = packer->of_channel - first;
            way->append(packer, c, (int)(first / BLOCK), codes + first,
                        left < BLOCK ? left : BLOCK);
        }
    }
    append_int16(&packer->stream, -1);
    end_copy(connection, &packer->stream, end);
    return now_ms() - begun_ms;
}

/* On empty tables, and each way first in its turn. */
static void pack_in_all_ways(PGconn *connection, struct packer *packer)
{
    enum { WAYS = sizeof ways / sizeof ways[0] };

    uint8_t turn = 0;
    if (getrandom(&turn, sizeof turn, 0) != sizeof turn) {
        fail("no random bytes", "");
    }
    make_table(connection);
    command(connection, "truncate bare_block, bare_plain");
    for (int i = 0; i < WAYS; i++) {
        const struct way *way = &ways[(i + turn) % WAYS];
        /* As with the rows: what is known and what has been touched before is not measured. */
        (void)pack_ms(connection, way, packer, "rollback");
        printf("%s_ms %.3f\n", way->name, pack_ms(connection, way, packer, "commit"));
        printf("%s_bytes %zu\n", way->name, packer->packed_bytes);
    }
}

static void pack(PGconn *connection, const char *path, int channels)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL || fseek(file, 0, SEEK_END) != 0) {
        fail("cannot read", path);
    }
    size_t count = (size_t)ftell(file) / sizeof(int16_t);
    int16_t *codes = malloc(count * sizeof *codes);
    struct packer packer = {.zstd = ZSTD_createCCtx(),
                            .codes = codes,
                            .channels = channels,
                            .of_channel = count / (size_t)channels};
    rewind(file);
    if (codes == NULL || packer.zstd == NULL || fread(codes, sizeof *codes, count, file) != count) {
        fail("cannot read", path);
    }
    (void)fclose(file);
    pack_in_all_ways(connection, &packer);
    ZSTD_freeCCtx(packer.zstd);
    free(packer.stream.bytes);
    free(codes);
}

/* ---- reading ---- */

/* The recording's clinic and date of receipt, which its blocks' key needs too; channels from 0. */
static PGresult *find_recording(PGconn *connection, const char *recording_id)
{
    const char *values[] = {recording_id};
    PGresult *found = expect(
        connection,
        PQexecParams(connection,
                     "select r.clinic_id, r.received_on, array_agg(c.number order by c.number)"
                     " from penstock.recording r join penstock.recording_channel c"
                     " on c.clinic_id = r.clinic_id and c.recording_id = r.id"
                     " where r.id = $1::uuid group by 1, 2",
                     1, NULL, values, NULL, NULL, 0),
        PGRES_TUPLES_OK);
    if (PQntuples(found) != 1) {
        fail("no such recording", recording_id);
    }
    return found;
}

static const char SELECT_PLAIN[] =
    "select channel_number, level, block_number, sample_count, checksum, data"
    " from penstock.sample_block where clinic_id = $1::uuid and recording_id = $2::uuid"
    " and received_on = $3::date and channel_number = any($4::int4[])"
    " and level = any($5::int4[]) and block_number between $6::int4 and $7::int4";

/* One look into the index for each channel and level. */
static const char SELECT_RANGES[] =
    "select s.channel_number, s.level, s.block_number, s.sample_count, s.checksum, s.data"
    " from unnest($4::int4[]) as c (number), unnest($5::int4[]) as l (number),"
    " lateral (select * from penstock.sample_block where clinic_id = $1::uuid"
    " and recording_id = $2::uuid and received_on = $3::date and channel_number = c.number"
    " and level = l.number and block_number between $6::int4 and $7::int4"
    " order by block_number) as s";

enum { SELECT_PARAMETERS = 7 };

static PGresult *select_once(PGconn *connection, const char *const values[SELECT_PARAMETERS])
{
    return expect(
        connection,
        PQexecPrepared(connection, "select", SELECT_PARAMETERS, values, NULL, NULL, BINARY),
        PGRES_TUPLES_OK);
}

/* The median of so many runs, with this statement and this way to make plans for it. */
static double select_ms(PGconn *connection, const char *sql, const char *plans,
                        const char *const values[SELECT_PARAMETERS], int times)
{
    double *took_ms = malloc((size_t)times * sizeof *took_ms);
    if (took_ms == NULL) {
        fail("out of memory", "");
    }
    command(connection, "deallocate all");
    command(connection, plans);
    PQclear(expect(connection, PQprepare(connection, "select", sql, 0, NULL), PGRES_COMMAND_OK));
    for (int i = 0; i < times; i++) {
        double begun_ms = now_ms();
        PQclear(select_once(connection, values));
        took_ms[i] = now_ms() - begun_ms;
    }
    qsort(took_ms, (size_t)times, sizeof *took_ms, compare);
    double median = took_ms[times / 2];
    free(took_ms);
    return median;
}

static void read_blocks(PGconn *connection, char **what, int times)
{
    static const char USUAL_PLANS[] = "set plan_cache_mode = auto";
    static const char PLANNED_ONCE[] = "set plan_cache_mode = force_generic_plan";

    PGresult *found = find_recording(connection, what[0]);
    char levels[64];
    snprintf(levels, sizeof levels, "{%s}", what[1]);
    const char *const values[SELECT_PARAMETERS] = {PQgetvalue(found, 0, 0),
                                                   what[0],
                                                   PQgetvalue(found, 0, 1),
                                                   PQgetvalue(found, 0, 2),
                                                   levels,
                                                   what[2],
                                                   what[3]};
    double plain_ms = select_ms(connection, SELECT_PLAIN, USUAL_PLANS, values, times);
    double other_ms = fmin(select_ms(connection, SELECT_PLAIN, PLANNED_ONCE, values, times),
                           select_ms(connection, SELECT_RANGES, PLANNED_ONCE, values, times));
    PGresult *rows = select_once(connection, values);
    printf("select_ms %.3f\nleast_ms %.3f\nrows %d\nbytes %zu\n", plain_ms,
           fmin(plain_ms, other_ms), PQntuples(rows), data_bytes(rows, PQnfields(rows) - 1));
    PQclear(rows);
    PQclear(found);
}

/* ---- */

int main(int argc, char **argv)
{
    int channels = argc == 5 ? (int)strtol(argv[4], NULL, 10) : 0;
    int times = argc == 8 ? (int)strtol(argv[7], NULL, 10) : 0;
    if (argc == 4 && strcmp(argv[1], "insert") == 0) {
        PGconn *connection = connect_to(argv[2]);
        insert(connection, argv[3]);
        PQfinish(connection);
    } else if (argc == 5 && strcmp(argv[1], "pack") == 0 && channels >= 1 &&
               channels <= CHANNELS_MAX) {
        PGconn *connection = connect_to(argv[2]);
        pack(connection, argv[3], channels);
        PQfinish(connection);
    } else if (argc == 8 && strcmp(argv[1], "select") == 0 && times >= 1 && times <= TIMES_MAX) {
        PGconn *connection = connect_to(argv[2]);
        read_blocks(connection, argv + 3, times);
        PQfinish(connection);
    } else {
        fail("usage", "see the head of bare.c");
    }
    return EXIT_SUCCESS;
}
