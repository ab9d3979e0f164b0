/* Writes JSON to a file, one value after the other; commas and indentation look after themselves.
 */
#ifndef DEMO_DATA_JSON_OUT_H
#define DEMO_DATA_JSON_OUT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum { JSON_OUT_DEPTH_MAX = 12 };

struct json_out {
    FILE *file;
    int depth;
    bool filled[JSON_OUT_DEPTH_MAX]; /* whether the container at that depth has a value yet */
};

/* Opens `directory`/`name` for writing. False with a message on stderr when it can't. */
bool json_out_open(struct json_out *out, const char *directory, const char *name);

/* Ends the file. False with a message on stderr when anything could not be written. */
bool json_out_close(struct json_out *out, const char *name);

/* In all of these `key` is the member's name, or NULL for an array's item and the outermost value.
 */
void json_out_object(struct json_out *out, const char *key);
void json_out_array(struct json_out *out, const char *key);
void json_out_end_object(struct json_out *out);
void json_out_end_array(struct json_out *out);
void json_out_string(struct json_out *out, const char *key, const char *value); /* UTF-8 */
void json_out_bool(struct json_out *out, const char *key, bool value);

/* At most `decimals` (0 to 6) digits after the point, trailing zeros dropped. */
void json_out_number(struct json_out *out, const char *key, double value, int decimals);

/* A flat array; NaN becomes null. */
void json_out_samples(struct json_out *out, const char *key, const double *values, size_t count,
                      int decimals);

/* Little-endian int16 codes of value/scale as base64; NaN becomes -32768. */
void json_out_codes(struct json_out *out, const char *key, const double *values, size_t count,
                    double scale);

#endif
