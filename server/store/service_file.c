#include "store/service_file.h"

#include "base/text.h"

#include <libpq-fe.h>
#include <string.h>

enum { LENGTH_MAX = 64 * 1024 };

/* A line of the file ends with its value: there is no way to quote a line break, and libpq strips
 * blanks around values. */
static bool fits_a_line(const char *value)
{
    size_t length = strlen(value);
    return strpbrk(value, "\r\n") == NULL && strspn(value, " \t") == 0 &&
           (length == 0 || strchr(" \t", value[length - 1]) == NULL);
}

bool service_file_make(struct arena *arena, const char *conninfo, const char **ret_text,
                       struct error *reterr)
{
    PQconninfoOption *options = PQconninfoParse(conninfo, NULL);
    if (options == NULL) {
        return error_set(reterr, ERROR_INVALID, "that is no connection string");
    }
    struct text text;
    text_init(&text, arena, LENGTH_MAX);
    text_append(&text, "[penstock]\n");
    bool good = true;
    for (const PQconninfoOption *option = options; good && option->keyword != NULL; option++) {
        if (option->val == NULL) {
            continue;
        }
        good = fits_a_line(option->val) ||
               error_set(reterr, ERROR_INVALID, "the value of %s does not fit a service file",
                         option->keyword);
        text_printf(&text, "%s=%s\n", option->keyword, option->val);
    }
    PQconninfoFree(options);
    if (good && text.overflowed) {
        good = error_set(reterr, ERROR_INVALID, "the connection string is too long");
    }
    *ret_text = text.data;
    return good;
}
