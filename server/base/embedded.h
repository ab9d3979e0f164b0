/* Files built into the program: migrations, pages, the OpenAPI document, common passwords,
 * what letters are made with. */
#ifndef BASE_EMBEDDED_H
#define BASE_EMBEDDED_H

#include <stddef.h>

struct embedded_file {
    const char *name;          /* without its folder */
    const unsigned char *data; /* followed by a NUL */
    size_t length;
};

/* Ends with a row whose name is NULL; sorted by name. */
extern const struct embedded_file auth_files[];
extern const struct embedded_file letter_files[];
extern const struct embedded_file migration_files[];
extern const struct embedded_file openapi_files[];
extern const struct embedded_file web_files[];

#endif
