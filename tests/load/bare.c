/* What storing and reading the sample blocks of a recording costs at the least: the same rows, in a
 * plain table or read from where they are, by libpq alone.
 *
 *   bare insert CONNINFO RECORDING_ID
 *       Copies the rows into the table bare_block, which has the same columns and key, but neither
 *       row security nor triggers nor partitions; in one durable transaction by binary COPY, and
 *       again in another by INSERT ... SELECT unnest(). Prints "copy_ms", "unnest_ms", "rows" and
 *       "bytes" (of data).
 *   bare select CONNINFO RECORDING_ID LEVELS FIRST_BLOCK LAST_BLOCK TIMES
 *       Reads these blocks of these levels ("3,4") of all channels by one prepared statement on the
 *       primary key. Prints "select_ms", the median, "rows" and "bytes".
 *
 * The connection must be allowed to see every row. */
#include <arpa/inet.h>
#include <libpq-fe.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

enum { BINARY = 1, TIMES_MAX = 100000, COPY_PORTION = 1 << 20, UUID_SIZE = 16 };

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
    " alter table bare_block alter column data set storage external";

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

static struct buffer copy_stream(const PGresult *rows, int count, const uint8_t id[UUID_SIZE])
{
    static const char head[] = "PGCOPY\n\377\r\n\0\0\0\0\0\0\0\0"; /* and the string's own end */
    struct buffer stream = {0};
    append(&stream, head, sizeof head);
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

/* Of one transaction with the first `count` rows; what is sent is made ready before. */
static double copy_ms(PGconn *connection, const PGresult *rows, int count, const char *end)
{
    uint8_t id[UUID_SIZE];
    if (getrandom(id, sizeof id, 0) != (ssize_t)sizeof id) {
        fail("no random bytes", "");
    }
    struct buffer stream = copy_stream(rows, count, id);
    double begun_ms = now_ms();
    command(connection, "begin");
    PQclear(expect(connection,
                   PQexec(connection, "copy bare_block (" COLUMNS ") from stdin (format binary)"),
                   PGRES_COPY_IN));
    for (size_t at = 0; at < stream.length; at += COPY_PORTION) {
        size_t left = stream.length - at;
        int portion = (int)(left < COPY_PORTION ? left : COPY_PORTION);
        if (PQputCopyData(connection, stream.bytes + at, portion) != 1) {
            fail("copy", PQerrorMessage(connection));
        }
    }
    if (PQputCopyEnd(connection, NULL) != 1) {
        fail("copy", PQerrorMessage(connection));
    }
    PQclear(expect(connection, PQgetResult(connection), PGRES_COMMAND_OK));
    PQclear(PQgetResult(connection));
    command(connection, end);
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
    if (getrandom(id, sizeof id, 0) != (ssize_t)sizeof id) {
        fail("no random bytes", "");
    }
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
    command(connection, "set client_min_messages = warning");
    command(connection, CREATE);
    PQclear(expect(connection, PQprepare(connection, "insert", INSERT, 0, NULL), PGRES_COMMAND_OK));
    /* A server's connection has long read what the catalogue says of the table. */
    (void)copy_ms(connection, rows, 1, "rollback");
    (void)unnest_ms(connection, rows, 1, "rollback");
    printf("copy_ms %.3f\n", copy_ms(connection, rows, count, "commit"));
    printf("unnest_ms %.3f\n", unnest_ms(connection, rows, count, "commit"));
    printf("rows %d\nbytes %zu\n", count, data_bytes(rows, DATA));
    PQclear(rows);
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

static void read_blocks(PGconn *connection, char **what, int times)
{
    PGresult *found = find_recording(connection, what[0]);
    char levels[64];
    snprintf(levels, sizeof levels, "{%s}", what[1]);
    const char *values[] = {PQgetvalue(found, 0, 0),
                            what[0],
                            PQgetvalue(found, 0, 1),
                            PQgetvalue(found, 0, 2),
                            levels,
                            what[2],
                            what[3]};

    enum { VALUES = sizeof values / sizeof values[0] };

    double *took_ms = malloc((size_t)times * sizeof *took_ms);
    if (took_ms == NULL) {
        fail("out of memory", "");
    }
    PQclear(expect(connection,
                   PQprepare(connection, "select",
                             "select channel_number, level, block_number, sample_count, checksum,"
                             " data from penstock.sample_block where clinic_id = $1::uuid"
                             " and recording_id = $2::uuid and received_on = $3::date"
                             " and channel_number = any($4::int4[]) and level = any($5::int4[])"
                             " and block_number between $6::int4 and $7::int4",
                             0, NULL),
                   PGRES_COMMAND_OK));
    int rows = 0;
    size_t bytes = 0;
    for (int i = 0; i < times; i++) {
        double begun_ms = now_ms();
        PGresult *result = expect(
            connection, PQexecPrepared(connection, "select", VALUES, values, NULL, NULL, BINARY),
            PGRES_TUPLES_OK);
        took_ms[i] = now_ms() - begun_ms;
        rows = PQntuples(result);
        bytes = data_bytes(result, PQnfields(result) - 1);
        PQclear(result);
    }
    qsort(took_ms, (size_t)times, sizeof *took_ms, compare);
    printf("select_ms %.3f\nrows %d\nbytes %zu\n", took_ms[times / 2], rows, bytes);
    free(took_ms);
    PQclear(found);
}

/* ---- */

int main(int argc, char **argv)
{
    int times = argc == 8 ? (int)strtol(argv[7], NULL, 10) : 0;
    if (argc == 4 && strcmp(argv[1], "insert") == 0) {
        PGconn *connection = connect_to(argv[2]);
        insert(connection, argv[3]);
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
