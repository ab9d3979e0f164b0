/* Inside store/ only: where a page of a list ended, as an opaque text for the client. It holds a
 * number and an id, never a name: cursors stand in URLs, and URLs in logs. */
#ifndef STORE_CURSOR_H
#define STORE_CURSOR_H

#include "base/arena.h"
#include "base/error.h"
#include "base/uuid.h"

#include <stdbool.h>
#include <stdint.h>

struct cursor {
    int64_t position; /* 0 where the id says it all */
    char id[UUID_TEXT_SIZE];
};

/* `list` is a letter of the list's own, so that a cursor of another list is refused. */
const char *cursor_write(struct arena *arena, char list, int64_t position, const char *id);

/* ERROR_INVALID with the detail "cursor" when `text` is not a cursor of this list. */
MUST_CHECK bool cursor_read(const char *text, char list, struct cursor *ret_cursor,
                            struct error *reterr);

#endif
