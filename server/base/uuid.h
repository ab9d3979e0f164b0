/* Identifiers: UUID, version 7 (RFC 9562), in lower-case text. */
#ifndef BASE_UUID_H
#define BASE_UUID_H

#include <stdbool.h>

enum { UUID_TEXT_SIZE = 37 };

/* A new version 7 UUID from the clock and the system's random source. */
void uuid_new(char text[UUID_TEXT_SIZE]);

/* Whether `text` is a UUID in canonical form: 36 characters, lower-case hexadecimal. */
bool uuid_is_valid(const char *text);

#endif
