/* What one upload may hold at most. Named here so that documentation and tests quote one place. */
#ifndef FORMATS_LIMITS_H
#define FORMATS_LIMITS_H

#include <stddef.h>
#include <stdint.h>

#define LIMIT_BODY_BYTES        ((size_t)64 * 1024 * 1024) /* a recording document */
#define LIMIT_ANALYSIS_BYTES    ((size_t)64 * 1024 * 1024) /* an analysis document */
#define LIMIT_CHUNK_BYTES       ((size_t)8 * 1024 * 1024)  /* a piece of a recording */
#define LIMIT_SMALL_BODY_BYTES  ((size_t)256 * 1024)       /* every other document */
#define LIMIT_CHANNELS          32
#define LIMIT_CHANNEL_SAMPLES   ((size_t)16 * 1024 * 1024)
#define LIMIT_RECORDING_SAMPLES ((size_t)32 * 1024 * 1024)
#define LIMIT_EVENTS            10000
#define LIMIT_CHUNKS            200000 /* pieces of a recording */
#define LIMIT_NOTE_BYTES        4000
#define LIMIT_NAME_BYTES        200
#define LIMIT_RATE_HZ           20000.0
#define LIMIT_DURATION_S        (48.0 * 3600.0)
#define LIMIT_JSON_DEPTH        32
#define LIMIT_JSON_CONTAINERS   ((size_t)50 * 1000)       /* objects and arrays of a document */
#define LIMIT_JSON_MEMBERS      ((size_t)250 * 1000)      /* members of all its objects */
#define LIMIT_JSON_VALUES       ((size_t)4 * 1000 * 1000) /* values of a document */
#define LIMIT_SAMPLE_MAGNITUDE  1e9 /* of a sample or an event's value, in the uploaded unit */
/* Recordings start within the years 1990 to 2100: anything else is a clock that was never set. */
#define LIMIT_START_EARLIEST_US ((int64_t)631152000 * 1000000)  /* 1990-01-01T00:00:00Z */
#define LIMIT_START_LATEST_US   ((int64_t)4133980800 * 1000000) /* 2101-01-01T00:00:00Z, excluded */
#define LIMIT_UTC_OFFSET_MIN    (14 * 60)                       /* of a place's clock, either way */
#define LIMIT_EVENT_SLACK_S     1.0 /* how far after the last sample an event may stand */

#endif
