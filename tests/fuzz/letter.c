/* Templates of letters, under libFuzzer. The first byte says which: 'T' a template as it was sent;
 * 'V' a value that is put into one. A template is either refused, each fault with its place and a
 * sentence, or filled in within bounds. A value comes out as the words that went in, in one
 * paragraph, whatever it holds. */
#include "promise.h"

#include "base/text.h"
#include "base/utf8.h"
#include "letter/letter.h"

#include <stdlib.h>
#include <string.h>

enum { INPUT_BYTES_MAX = 4000 };

static void check_faults(const struct template_faults *faults)
{
    promise(faults->count >= 1 && faults->count <= TEMPLATE_FAULTS_MAX, "a refusal names a fault");
    for (size_t i = 0; i < faults->count; i++) {
        const struct template_fault *fault = &faults->items[i];
        promise(fault->line >= 1 && fault->column >= 1, "a fault has a place");
        promise(strlen(fault->detail) > 10, "a fault has a sentence");
        promise(utf8_is_valid(fault->detail, strlen(fault->detail)), "a sentence is UTF-8");
        promise(i == 0 || fault->line >= fault[-1].line, "faults are in order");
    }
}

static void try_template(struct arena *arena, const char *body)
{
    struct template_faults faults;
    struct letter_content content;
    struct document *document = NULL;
    struct error error = {0};
    if (!template_check(arena, body, &faults)) {
        check_faults(&faults);
        return;
    }
    letter_example("en", &content);
    if (!letter_make(arena, body, &content, 1, &document, &error)) {
        promise(error.kind == ERROR_INVALID, "only limits refuse what passed the check");
    }
}

/* The words of the paragraph that a value became, lines divided by spaces. */
static void append_words(struct text *out, const struct document_block *block)
{
    for (size_t i = 0; i < block->spans.count; i++) {
        promise(block->spans.spans[i].from_person, "a value is a person's words");
        promise(!block->spans.spans[i].strong && !block->spans.spans[i].emphasis,
                "a value is plain");
        text_append(out, block->spans.spans[i].words);
        text_append(out, block->spans.spans[i].ends_line ? " " : "");
    }
}

/* White space as one space, and none of U+2068 and U+2069. */
static const char *plain_words(struct arena *arena, const char *value)
{
    struct text out;
    text_init(&out, arena, strlen(value) + 1);
    for (const char *at = value; *at != '\0'; at++) {
        if (strncmp(at, "\xE2\x81\xA8", 3) == 0 || strncmp(at, "\xE2\x81\xA9", 3) == 0) {
            at += 2;
        } else if (strchr(" \t\n\r", *at) == NULL) {
            text_append_char(&out, *at);
        } else if (out.length > 0 && out.data[out.length - 1] != ' ') {
            text_append_char(&out, ' ');
        }
    }
    while (out.length > 0 && out.data[out.length - 1] == ' ') {
        out.data[--out.length] = '\0';
    }
    return out.data;
}

static void try_value(struct arena *arena, const char *value)
{
    struct letter_content content;
    struct document *document = NULL;
    struct error error = {0};
    const struct document_block *found = NULL;
    letter_example("en", &content);
    content.conclusion = value;
    promise(letter_make(arena, "# Title\n\n{{conclusion}}\n", &content, 1, &document, &error),
            "a value makes a letter");
    size_t after_title = 0;
    bool is_behind = false;
    for (const struct document_block *block = document_first_block(document); block != NULL;
         block = block->next) {
        if (is_behind && block->kind == DOCUMENT_PARAGRAPH && block->tone == DOCUMENT_PLAIN) {
            found = block;
        }
        promise(!is_behind || block->kind == DOCUMENT_PARAGRAPH, "a value makes paragraphs");
        after_title += is_behind ? 1 : 0;
        is_behind = is_behind || block->kind == DOCUMENT_HEADING;
    }
    const char *wanted = plain_words(arena, value);
    if (found == NULL) {
        promise(wanted[0] == '\0', "a value that is not blank is there");
        return;
    }
    promise(after_title == 2, "a value makes one paragraph"); /* it and the caution */
    struct text words;
    text_init(&words, arena, 4 * strlen(value) + 16);
    append_words(&words, found);
    promise(strcmp(plain_words(arena, words.data), wanted) == 0,
            "the words come out as they went in");
}

/* Control characters never reach a letter: json_reader_string() refuses them. */
static bool may_be_stored(const char *text)
{
    size_t length = strlen(text);
    if (!utf8_is_valid(text, length)) {
        return false;
    }
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        bool is_c1 = byte == 0xC2 && (unsigned char)text[i + 1] < 0xA0;
        bool is_separator =
            strncmp(text + i, "\xE2\x80\xA8", 3) == 0 || strncmp(text + i, "\xE2\x80\xA9", 3) == 0;
        if ((byte < ' ' && byte != '\n' && byte != '\t') || byte == 0x7F || is_c1 || is_separator) {
            return false;
        }
    }
    return true;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct arena *arena = arena_new();
    char *text = promise_line(bytes, size);
    if (text[0] != '\0' && size <= INPUT_BYTES_MAX && may_be_stored(text + 1)) {
        if (text[0] == 'T') {
            try_template(arena, text + 1);
        } else if (text[0] == 'V') {
            try_value(arena, text + 1);
        }
    }
    free(text);
    arena_free(arena);
    return 0;
}
