/* What a letter's template may name: the one list that checking, documentation and pages follow. */
#ifndef LETTER_FIELDS_H
#define LETTER_FIELDS_H

#include <stdbool.h>
#include <stddef.h>

enum letter_field_kind {
    LETTER_FIELD_TEXT, /* {{name}}, or {{#name}}…{{/name}} where it is not empty */
    LETTER_FIELD_LIST, /* {{#name}}…{{/name}} once for each item */
    LETTER_FIELD_FLAG  /* {{#name}}…{{/name}} where it is so */
};

struct letter_field {
    const char *name;
    enum letter_field_kind kind;
    const char *list; /* of an item's field: the list that has it; else NULL */
    const char *meaning;
};

extern const struct letter_field LETTER_FIELDS[];
extern const size_t LETTER_FIELD_COUNT;

/* The field that `name` (not terminated) means within the list `list` (NULL: in none), or NULL. An
 * item's own fields come first. */
const struct letter_field *letter_field_find(const char *name, size_t length, const char *list);

/* The item's field of any list with this name, or NULL: for whoever writes it outside of its list.
 */
const struct letter_field *letter_field_of_any_list(const char *name, size_t length);

/* The name that comes nearest, among those that mean something there; NULL when none is near (by
 * more than a third of its letters). */
const char *letter_field_nearest(const char *name, size_t length, const char *list);

#endif
