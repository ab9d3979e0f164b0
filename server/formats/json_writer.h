/* Members of JSON objects, with the commas between them, written to a text.
 *
 * Braces and brackets are the caller's: text_append_char(out, '{') opens an object, and the comma
 * is left out right after an opening bracket. */
#ifndef FORMATS_JSON_WRITER_H
#define FORMATS_JSON_WRITER_H

#include "base/text.h"

/* A comma, unless the text ends with '{' or '[' or is empty. Call it before every array item. */
void json_writer_comma(struct text *out);

/* `"name":`, with the comma before it where one is due. */
void json_writer_name(struct text *out, const char *name);

/* A member with a string; `value` NULL writes null. */
void json_writer_string(struct text *out, const char *name, const char *value);

/* A member with the shortest decimal that reads back as the same double; `value` is finite. */
void json_writer_number(struct text *out, const char *name, double value);

/* A member with true or false. */
void json_writer_flag(struct text *out, const char *name, bool value);

/* A member with json_writer_rounded(); nothing when `value` is not finite. */
void json_writer_known(struct text *out, const char *name, double value);

/* A number with at most three decimals and no trailing zeros (21.340 becomes 21.34, -0.0001
 * becomes 0); `value` is finite. */
void json_writer_rounded(struct text *out, double value);

#endif
