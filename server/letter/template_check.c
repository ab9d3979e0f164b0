#include "letter/fields.h"
#include "letter/template.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct place {
    int line;
    int column;
};

struct section {
    const char *name;
    size_t length;
    struct place place;
    const char *list; /* the list that it repeats, or NULL */
};

struct check {
    struct arena *arena;
    struct template_faults *faults;
    const char *at;
    struct place place; /* of at */
    size_t tag_count;
    size_t depth; /* open sections, also those beyond sections[] */
    struct section sections[TEMPLATE_NESTING_MAX];
};

/* ---- places and faults ---- */

static void advance(struct check *check, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        char byte = *check->at++;
        if (byte == '\n') {
            check->place.line++;
            check->place.column = 1;
        } else if (((unsigned char)byte & 0xC0) != 0x80) {
            check->place.column++;
        }
    }
}

static void fault(struct check *check, struct place place, const char *format, ...)
    PRINTF_LIKE(3, 4);

static void fault(struct check *check, struct place place, const char *format, ...)
{
    char words[400];
    if (check->faults->count == TEMPLATE_FAULTS_MAX) {
        return;
    }
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(words, sizeof words, format, arguments);
    va_end(arguments);
    check->faults->items[check->faults->count++] =
        (struct template_fault){place.line, place.column, arena_strdup(check->arena, words)};
}

/* What a tag says, for a fault: only what can be a name, so that nothing is cut within a sign. */
static const char *shown(struct check *check, const char *name, size_t length)
{
    size_t end = 0;
    while (end < length && end < 60 && name[end] > ' ' && name[end] < 0x7f) {
        end++;
    }
    return end == length ? arena_strndup(check->arena, name, length) : "this";
}

/* ---- fields ---- */

static const char *innermost_list(const struct check *check)
{
    for (size_t i = check->depth; i-- > 0;) {
        if (i < TEMPLATE_NESTING_MAX && check->sections[i].list != NULL) {
            return check->sections[i].list;
        }
    }
    return NULL;
}

static void fault_unknown(struct check *check, struct place place, const char *name, size_t length,
                          const char *list)
{
    const struct letter_field *elsewhere = letter_field_of_any_list(name, length);
    const char *nearest = letter_field_nearest(name, length, list);
    if (elsewhere != NULL) {
        fault(check, place, "{{%s}} means something only within a list, such as {{#%s}}.",
              elsewhere->name, elsewhere->list);
    } else if (nearest != NULL) {
        fault(check, place, "There is no field \"%s\". Is \"%s\" meant?",
              shown(check, name, length), nearest);
    } else {
        fault(check, place, "There is no field \"%s\".", shown(check, name, length));
    }
}

static void check_value(struct check *check, struct place place, const char *name, size_t length)
{
    const char *list = innermost_list(check);
    const struct letter_field *field = letter_field_find(name, length, list);
    if (field == NULL) {
        fault_unknown(check, place, name, length, list);
    } else if (field->kind == LETTER_FIELD_LIST) {
        fault(check, place,
              "\"%s\" is a list: write {{#%s}} ... {{/%s}} around what is said of "
              "each item.",
              field->name, field->name, field->name);
    } else if (field->kind == LETTER_FIELD_FLAG) {
        fault(check, place,
              "\"%s\" is a condition: write {{#%s}} ... {{/%s}} around what is said "
              "where it holds.",
              field->name, field->name, field->name);
    }
}

/* ---- sections ---- */

static void open_section(struct check *check, struct place place, char mark, const char *name,
                         size_t length)
{
    const char *around = innermost_list(check);
    const struct letter_field *field = letter_field_find(name, length, around);
    bool is_list = field != NULL && field->kind == LETTER_FIELD_LIST && mark == '#';
    if (field == NULL) {
        fault_unknown(check, place, name, length, around);
    } else if (is_list && around != NULL) {
        fault(check, place, "A list may not stand within another: {{#%s}} is in {{#%s}}.",
              field->name, around);
    }
    if (check->depth == TEMPLATE_NESTING_MAX) {
        fault(check, place, "Sections may be nested %d deep at most.", TEMPLATE_NESTING_MAX);
    }
    if (check->depth < TEMPLATE_NESTING_MAX) {
        check->sections[check->depth] =
            (struct section){name, length, place, is_list ? field->name : NULL};
    }
    check->depth++;
}

static bool closes(const struct section *section, const char *name, size_t length)
{
    return section->length == length && memcmp(section->name, name, length) == 0;
}

static void close_section(struct check *check, struct place place, const char *name, size_t length)
{
    if (check->depth == 0) {
        fault(check, place, "{{/%s}} ends a section that was not begun.",
              shown(check, name, length));
        return;
    }
    if (check->depth > TEMPLATE_NESTING_MAX) {
        check->depth--; /* told when it was opened */
        return;
    }
    const struct section *innermost = &check->sections[check->depth - 1];
    if (closes(innermost, name, length)) {
        check->depth--;
        return;
    }
    fault(check, place, "{{/%s}} stands where {{/%s}} must: {{#%s}} of line %d is still open.",
          shown(check, name, length), shown(check, innermost->name, innermost->length),
          shown(check, innermost->name, innermost->length), innermost->place.line);
    /* Where it ends one further out, those within have told enough. */
    for (size_t i = check->depth - 1; i-- > 0;) {
        if (closes(&check->sections[i], name, length)) {
            check->depth = i;
            return;
        }
    }
}

/* ---- tags ---- */

static bool is_space(char byte)
{
    return byte == ' ' || byte == '\t' || byte == '\n' || byte == '\r';
}

static size_t skip_spaces(const char *inside, size_t start, size_t length)
{
    while (start < length && is_space(inside[start])) {
        start++;
    }
    return start;
}

static void check_tag(struct check *check, struct place place, const char *inside, size_t length)
{
    size_t start = skip_spaces(inside, 0, length);
    size_t end = length;
    char mark = start < end ? inside[start] : '\0';
    bool has_mark = mark != '\0' && strchr("#^/!>&={", mark) != NULL;
    if (has_mark) {
        start = skip_spaces(inside, start + 1, length);
    }
    while (end > start && is_space(inside[end - 1])) {
        end--;
    }
    const char *name = inside + start;
    switch (has_mark ? mark : '\0') {
    case '!':
        break;
    case '{':
        fault(check, place,
              "Three braces would leave a value unescaped, which is not possible "
              "here: write two.");
        break;
    case '&':
        fault(check, place,
              "{{& }} would leave a value unescaped, which is not possible here: "
              "leave the & out.");
        break;
    case '>':
        fault(check, place, "A template cannot take in another one: {{> }} is not possible here.");
        break;
    case '=':
        fault(check, place, "The braces cannot be changed: {{= =}} is not possible here.");
        break;
    case '#':
    case '^':
        open_section(check, place, mark, name, end - start);
        break;
    case '/':
        close_section(check, place, name, end - start);
        break;
    default:
        if (start == end) {
            fault(check, place, "{{ }} names no field.");
        } else {
            check_value(check, place, name, end - start);
        }
        break;
    }
}

/* At "{{": checks the tag and goes behind it. */
static void take_tag(struct check *check)
{
    struct place place = check->place;
    const char *end = strstr(check->at + 2, "}}");
    const char *another = strstr(check->at + 2, "{{");
    if (end == NULL || (another != NULL && another < end && check->at[2] != '!')) {
        fault(check, place, "This tag does not end: }} is missing.");
        advance(check, 2);
        return;
    }
    size_t whole = (size_t)(end - check->at) + 2;
    bool triple = check->at[2] == '{' && end[2] == '}';
    if (whole > TEMPLATE_TAG_BYTES_MAX) {
        fault(check, place, "A tag may have %d bytes at most.", TEMPLATE_TAG_BYTES_MAX);
    } else if (++check->tag_count == TEMPLATE_TAGS_MAX + 1) {
        fault(check, place, "A template may have %d tags at most.", TEMPLATE_TAGS_MAX);
    } else {
        check_tag(check, place, check->at + 2, whole - 4);
    }
    advance(check, whole + (triple ? 1 : 0));
}

/* Whether HTML begins at "<", as CommonMark sees it. Addresses in angle brackets are none. */
static bool begins_html(const char *at)
{
    char next = at[1];
    bool is_letter = (next >= 'a' && next <= 'z') || (next >= 'A' && next <= 'Z');
    return next == '/' || next == '!' || next == '?' ||
           (is_letter && strncmp(at, "<https://", 9) != 0 && strncmp(at, "<http://", 8) != 0 &&
            strncmp(at, "<mailto:", 8) != 0);
}

static void take_text(struct check *check)
{
    if (check->at[0] == '\\' && check->at[1] != '\0' && check->at[1] != '{') {
        advance(check, 1);
    } else if (check->at[0] == '<' && begins_html(check->at)) {
        fault(check, check->place,
              "HTML is not possible here, and a value within it would be "
              "lost. For the sign itself write \\<.");
    } else if (check->at[0] == '}' && check->at[1] == '}') {
        fault(check, check->place, "}} ends a tag that was not begun.");
        advance(check, 1);
    }
    advance(check, 1);
}

static int compare_faults(const void *left, const void *right)
{
    const struct template_fault *a = left;
    const struct template_fault *b = right;
    return a->line != b->line ? a->line - b->line : a->column - b->column;
}

bool template_check(struct arena *arena, const char *body, struct template_faults *ret_faults)
{
    struct check check = {.arena = arena, .faults = ret_faults, .at = body, .place = {1, 1}};
    ret_faults->count = 0;
    if (strlen(body) > TEMPLATE_BYTES_MAX) {
        fault(&check, check.place, "A template may have %d bytes at most.", TEMPLATE_BYTES_MAX);
        return false;
    }
    while (*check.at != '\0' && check.tag_count <= TEMPLATE_TAGS_MAX) {
        if (check.at[0] == '{' && check.at[1] == '{') {
            take_tag(&check);
        } else {
            take_text(&check);
        }
    }
    size_t open = check.depth < TEMPLATE_NESTING_MAX ? check.depth : TEMPLATE_NESTING_MAX;
    for (size_t i = 0; i < open && *check.at == '\0'; i++) {
        const struct section *section = &check.sections[i];
        fault(&check, section->place, "This section does not end: {{/%s}} is missing.",
              shown(&check, section->name, section->length));
    }
    qsort(ret_faults->items, ret_faults->count, sizeof ret_faults->items[0], compare_faults);
    return ret_faults->count == 0;
}
