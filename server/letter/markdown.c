#include "letter/markdown.h"

#include "base/text.h"
#include "letter/template.h"

#include <cmark.h>
#include <ctype.h>
#include <string.h>

static const char PERSON_BEGINS[] = "\xE2\x81\xA8"; /* U+2068 */
static const char PERSON_ENDS[] = "\xE2\x81\xA9";   /* U+2069 */

enum { MARK_LENGTH = 3 };

/* The spans of one block while they are collected. */
struct spans {
    struct arena *arena;
    struct document_span *items;
    size_t count;
    size_t capacity;
    int strong;
    int emphasis;
    bool from_person;
    bool has_words;
};

struct writer {
    struct document *document;
    struct arena *arena;
    bool has_title;
    size_t line_count; /* as the template and the values divide them */
    struct spans spans;
};

/* ---- spans ---- */

static void add_span(struct spans *spans, const char *words, size_t length)
{
    enum { CAPACITY_FIRST = 16 };

    if (length == 0) {
        return;
    }
    if (spans->count == spans->capacity) {
        size_t capacity = spans->capacity == 0 ? CAPACITY_FIRST : 2 * spans->capacity;
        struct document_span *items = arena_array(spans->arena, capacity, sizeof *items);
        if (spans->count > 0) {
            memcpy(items, spans->items, spans->count * sizeof *items);
        }
        spans->items = items;
        spans->capacity = capacity;
    }
    spans->items[spans->count++] = (struct document_span){
        .words = arena_strndup(spans->arena, words, length),
        .strong = spans->strong > 0,
        .emphasis = spans->emphasis > 0,
        .from_person = spans->from_person,
    };
    spans->has_words = spans->has_words || strspn(words, " ") < length;
}

/* Words, divided where a person's begin and end. */
static void add_words(struct spans *spans, const char *words)
{
    const char *start = words;
    for (const char *at = words; *at != '\0'; at++) {
        bool begins = strncmp(at, PERSON_BEGINS, MARK_LENGTH) == 0;
        if (begins || strncmp(at, PERSON_ENDS, MARK_LENGTH) == 0) {
            add_span(spans, start, (size_t)(at - start));
            spans->from_person = begins;
            at += MARK_LENGTH - 1;
            start = at + 1;
        }
    }
    add_span(spans, start, strlen(start));
}

static void end_line(struct spans *spans)
{
    if (spans->count > 0) {
        spans->items[spans->count - 1].ends_line = true;
    }
}

/* Code shows its backslashes; those that were put before a value's punctuation are not meant. */
static void add_code(struct spans *spans, const char *code)
{
    struct text line;
    text_init(&line, spans->arena, TEMPLATE_OUTPUT_MAX);
    for (const char *at = code; *at != '\0'; at++) {
        if (*at == '\n') {
            add_words(spans, line.data);
            end_line(spans);
            text_init(&line, spans->arena, TEMPLATE_OUTPUT_MAX);
        } else {
            at += *at == '\\' && ispunct((unsigned char)at[1]) ? 1 : 0;
            text_append_char(&line, *at);
        }
    }
    add_words(spans, line.data);
}

/* The address of a link whose words are the spans from `first` on. */
static void add_address(struct spans *spans, const char *address, size_t first)
{
    bool is_said = spans->count == first + 1 && strcmp(spans->items[first].words, address) == 0;
    if (address[0] == '\0' || is_said) {
        return; /* <https://...>: the words are the address */
    }
    add_words(spans, " (");
    add_words(spans, address);
    add_words(spans, ")");
}

static void add_inlines(struct spans *spans, cmark_node *parent)
{
    size_t link_begins = 0; /* there are no links within links */
    cmark_iter *iterator = cmark_iter_new(parent);
    for (cmark_event_type event = cmark_iter_next(iterator); event != CMARK_EVENT_DONE;
         event = cmark_iter_next(iterator)) {
        cmark_node *node = cmark_iter_get_node(iterator);
        bool enters = event == CMARK_EVENT_ENTER;
        switch ((int)cmark_node_get_type(node)) {
        case CMARK_NODE_TEXT:
            add_words(spans, cmark_node_get_literal(node));
            break;
        case CMARK_NODE_CODE:
            add_code(spans, cmark_node_get_literal(node));
            break;
        case CMARK_NODE_SOFTBREAK:
            add_words(spans, " ");
            break;
        case CMARK_NODE_LINEBREAK:
            end_line(spans);
            break;
        case CMARK_NODE_STRONG:
            spans->strong += enters ? 1 : -1;
            break;
        case CMARK_NODE_EMPH:
            spans->emphasis += enters ? 1 : -1;
            break;
        case CMARK_NODE_LINK:
            if (enters) {
                link_begins = spans->count;
            } else {
                add_address(spans, cmark_node_get_url(node), link_begins);
            }
            break;
        default: /* HTML, and what has only inlines of its own */
            break;
        }
    }
    cmark_iter_free(iterator);
}

static void collect(struct writer *writer, cmark_node *block, const char *before)
{
    writer->spans = (struct spans){.arena = writer->arena};
    add_words(&writer->spans, before);
    writer->spans.has_words = false;
    cmark_node_type type = cmark_node_get_type(block);
    if (type == CMARK_NODE_CODE_BLOCK) {
        add_code(&writer->spans, cmark_node_get_literal(block));
    } else {
        add_inlines(&writer->spans, block);
    }
    writer->line_count++;
    for (size_t i = 0; i < writer->spans.count; i++) {
        writer->line_count += writer->spans.items[i].ends_line ? 1 : 0;
    }
}

/* ---- blocks ---- */

static void write_heading(struct writer *writer, cmark_node *block)
{
    struct text words;
    collect(writer, block, "");
    if (!writer->spans.has_words) {
        return;
    }
    text_init(&words, writer->arena, TEMPLATE_OUTPUT_MAX);
    for (size_t i = 0; i < writer->spans.count; i++) {
        text_append(&words, writer->spans.items[i].words);
        text_append(&words, writer->spans.items[i].ends_line ? " " : "");
    }
    int level = cmark_node_get_heading_level(block) <= 2 ? 2 : 3;
    document_heading(writer->document, writer->has_title ? level : 1, words.data);
    writer->has_title = true;
}

static bool is_in_list(cmark_node *block)
{
    for (cmark_node *at = cmark_node_parent(block); at != NULL; at = cmark_node_parent(at)) {
        if (cmark_node_get_type(at) == CMARK_NODE_ITEM) {
            return true;
        }
    }
    return false;
}

/* "3. " of an item of a numbered list: the document's own lists have bullets. */
static const char *item_number(struct arena *arena, cmark_node *block)
{
    cmark_node *item = cmark_node_parent(block);
    if (cmark_node_previous(block) != NULL || cmark_node_get_type(item) != CMARK_NODE_ITEM ||
        cmark_node_get_list_type(cmark_node_parent(item)) != CMARK_ORDERED_LIST) {
        return "";
    }
    int number = cmark_node_get_list_start(cmark_node_parent(item));
    for (cmark_node *at = cmark_node_previous(item); at != NULL; at = cmark_node_previous(at)) {
        number++;
    }
    return arena_printf(arena, "%d. ", number);
}

static void write_words(struct writer *writer, cmark_node *block)
{
    collect(writer, block, item_number(writer->arena, block));
    if (!writer->spans.has_words) {
        return;
    }
    if (is_in_list(block)) {
        document_item(writer->document, writer->spans.items, writer->spans.count);
    } else {
        document_paragraph(writer->document, DOCUMENT_PLAIN, writer->spans.items,
                           writer->spans.count);
    }
}

bool markdown_append(struct document *document, struct arena *arena, const char *markdown,
                     struct error *reterr)
{
    struct writer writer = {.document = document, .arena = arena};
    cmark_node *root = cmark_parse_document(markdown, strlen(markdown), CMARK_OPT_DEFAULT);
    cmark_iter *iterator = cmark_iter_new(root);
    for (cmark_event_type event = cmark_iter_next(iterator);
         event != CMARK_EVENT_DONE && writer.line_count <= MARKDOWN_LINES_MAX;
         event = cmark_iter_next(iterator)) {
        cmark_node *node = cmark_iter_get_node(iterator);
        cmark_node_type type = cmark_node_get_type(node);
        if (event != CMARK_EVENT_ENTER) {
            continue;
        }
        if (type == CMARK_NODE_HEADING) {
            write_heading(&writer, node);
        } else if (type == CMARK_NODE_PARAGRAPH || type == CMARK_NODE_CODE_BLOCK) {
            write_words(&writer, node);
        }
    }
    cmark_iter_free(iterator);
    cmark_node_free(root);
    return writer.line_count <= MARKDOWN_LINES_MAX ||
           error_set(reterr, ERROR_INVALID, "the letter has more than %d lines",
                     MARKDOWN_LINES_MAX);
}
