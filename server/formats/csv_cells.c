#include "formats/csv_parts.h"

#include <string.h>

/* Steps over the separator or the end of the row; false when something else stands there. */
static bool end_cell(struct csv_scanner *scanner, struct csv_cell *cell)
{
    if (scanner->at < scanner->end && *scanner->at == scanner->separator) {
        scanner->at++;
        cell->ends_row = false;
        return true;
    }
    cell->ends_row = true;
    if (scanner->at < scanner->end && *scanner->at == '\r') {
        scanner->at++;
    }
    if (scanner->at == scanner->end) {
        return true;
    }
    if (*scanner->at != '\n') {
        return false;
    }
    scanner->at++;
    scanner->line++;
    return true;
}

/* The cell's text between the quotation marks, of which two stand for one. */
static const char *unescape(struct csv_scanner *scanner, const char *text, size_t *length)
{
    char *copy = arena_alloc(scanner->arena, *length);
    size_t copied = 0;
    for (size_t i = 0; i < *length; i++) {
        copy[copied++] = text[i];
        i += text[i] == '"' ? 1 : 0;
    }
    *length = copied;
    return copy;
}

static const char *next_quoted(struct csv_scanner *scanner, struct csv_cell *cell)
{
    const char *text = ++scanner->at;
    const size_t first_line = scanner->line;
    bool is_escaped = false;
    for (; scanner->at < scanner->end; scanner->at++) {
        if (*scanner->at == '\n') {
            scanner->line++;
        } else if (*scanner->at == '"') {
            if (scanner->at + 1 == scanner->end || scanner->at[1] != '"') {
                break;
            }
            is_escaped = true;
            scanner->at++;
        }
    }
    if (scanner->at == scanner->end) {
        scanner->line = first_line;
        return "a quotation mark is not closed";
    }
    cell->text = text;
    cell->length = (size_t)(scanner->at - text);
    scanner->at++;
    if (is_escaped) {
        cell->text = unescape(scanner, text, &cell->length);
    }
    return end_cell(scanner, cell) ? NULL : "something follows a closing quotation mark";
}

const char *csv_next_cell(struct csv_scanner *scanner, struct csv_cell *ret_cell)
{
    if (scanner->at < scanner->end && *scanner->at == '"') {
        return next_quoted(scanner, ret_cell);
    }
    const char *text = scanner->at;
    const char *at = text;
    while (at < scanner->end && *at != scanner->separator && *at != '\n') {
        if (*at == '"') {
            return "a quotation mark stands within a cell that does not begin with one";
        }
        at++;
    }
    if (at < scanner->end && *at == '\n' && at > text && at[-1] == '\r') {
        at--;
    }
    *ret_cell = (struct csv_cell){.text = text, .length = (size_t)(at - text)};
    scanner->at = at;
    (void)end_cell(scanner, ret_cell);
    return NULL;
}
