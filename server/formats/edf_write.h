/* A recording as an EDF+C file. What is written, and what is lost, is told in api-docs/edf.md. */
#ifndef FORMATS_EDF_WRITE_H
#define FORMATS_EDF_WRITE_H

#include "formats/recording_json.h"

/* How one channel went into the file. */
struct edf_written_channel {
    enum signal_kind signal;
    bool is_exact;         /* every value reads back as it was, but for the last bit of a double */
    double greatest_error; /* between a value and what reads back, in the channel's unit */
    double shift_s;        /* by how much its samples were moved onto the grid of the records */
    size_t padded;         /* missing samples added before and after it */
};

struct edf_file {
    const uint8_t *bytes;
    size_t length;
    double record_duration_s;
    size_t record_count;
    size_t channel_count; /* those of the document, in its order */
    const struct edf_written_channel *channels;
};

/* Writes the channels and events of a document, as they are: a caller that wants a part cuts it
 * first. Times are local by `utc_offset_min`. Nothing that identifies the patient is written.
 *
 * Channels begin together and end together: what they lack is missing samples. One record is 1 to
 * 60 s long (whole seconds if possible) and holds a whole number of samples of every channel.
 * Integer codes and decimals that fit 16 bits stay what they are; other values are rounded to 65535
 * steps between the channel's least and greatest value. Events keep nanoseconds.
 *
 * Fails with ERROR_INVALID and a detail for the client: no channel, rates that no record fits,
 * values that the header's eight characters cannot hold, a channel that begins before the start,
 * more samples than limits.h allows once the channels are as long as each other. The file lives on
 * the arena. */
MUST_CHECK bool edf_write(struct arena *arena, const struct recording_document *document,
                          int utc_offset_min, struct edf_file *ret_file, struct error *reterr);

#endif
