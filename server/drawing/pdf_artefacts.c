#include "drawing/pdf_parts.h"

#include <string.h>

/* Reads a content stream (ISO 32000-1, 7.8.2) by its tokens, without understanding more of it than
 * where marked content begins and ends, and what paints. cairo writes no inline images. */

struct reader {
    const char *data;
    size_t length;
    size_t at;
};

struct token {
    const char *start;
    size_t length;
    bool is_operator;
};

static bool is_space(char byte)
{
    return byte == ' ' || byte == '\n' || byte == '\r' || byte == '\t' || byte == '\f' ||
           byte == '\0';
}

static bool is_delimiter(char byte)
{
    return byte != '\0' && strchr("()<>[]{}/%", byte) != NULL;
}

static void skip_spaces(struct reader *reader)
{
    while (reader->at < reader->length && is_space(reader->data[reader->at])) {
        reader->at++;
    }
}

/* "(…)" with nested brackets and escapes; the reader is behind the first one. */
static void skip_string(struct reader *reader)
{
    int depth = 1;
    while (reader->at < reader->length && depth > 0) {
        char byte = reader->data[reader->at++];
        if (byte == '\\' && reader->at < reader->length) {
            reader->at++;
        } else if (byte == '(') {
            depth++;
        } else if (byte == ')') {
            depth--;
        }
    }
}

static void skip_until(struct reader *reader, char last)
{
    while (reader->at < reader->length && reader->data[reader->at++] != last) {
    }
}

static void skip_word(struct reader *reader)
{
    while (reader->at < reader->length && !is_space(reader->data[reader->at]) &&
           !is_delimiter(reader->data[reader->at])) {
        reader->at++;
    }
}

static bool is_operator(const char *word, size_t length)
{
    char first = word[0];
    bool is_letter = (first >= 'A' && first <= 'Z') || (first >= 'a' && first <= 'z');
    bool is_word = (length == 4 && memcmp(word, "true", 4) == 0) ||
                   (length == 5 && memcmp(word, "false", 5) == 0) ||
                   (length == 4 && memcmp(word, "null", 4) == 0);
    return (is_letter && !is_word) || first == '\'' || first == '"';
}

static bool next_token(struct reader *reader, struct token *ret_token)
{
    skip_spaces(reader);
    if (reader->at >= reader->length) {
        return false;
    }
    size_t start = reader->at;
    char first = reader->data[reader->at++];
    bool is_pair = reader->at < reader->length && reader->data[reader->at] == first;
    *ret_token = (struct token){.start = reader->data + start};
    if (first == '(') {
        skip_string(reader);
    } else if (first == '%') {
        skip_until(reader, '\n');
    } else if ((first == '<' || first == '>') && is_pair) {
        reader->at++;
    } else if (first == '<') {
        skip_until(reader, '>');
    } else if (first == '/' || !is_delimiter(first)) {
        skip_word(reader);
        ret_token->is_operator = first != '/' && is_operator(ret_token->start, reader->at - start);
    }
    ret_token->length = reader->at - start;
    return true;
}

static bool is(const struct token *token, const char *word)
{
    return token->length == strlen(word) && memcmp(token->start, word, token->length) == 0;
}

static bool paints(const struct token *token)
{
    static const char *const operators[] = {"S",  "s",  "f",  "F",  "f*", "B", "B*", "b",
                                            "b*", "sh", "Do", "Tj", "TJ", "'", "\""};
    for (size_t i = 0; i < sizeof operators / sizeof operators[0]; i++) {
        if (is(token, operators[i])) {
            return true;
        }
    }
    return false;
}

struct marker {
    struct text *out;
    const char *from;     /* of what is not written yet */
    const char *operands; /* of the next operator: the first of them, or NULL */
    int depth;            /* of marked content */
    int tag_depth;        /* that of the tag that is open, or 0; a tag is what has an MCID */
    bool has_id;          /* an operand since the last operator was /MCID */
    bool has_paint;       /* something was painted since the last tag */
    bool in_text;
    bool is_sound;
};

/* What lies between two tags. */
static void write_between(struct marker *marker, const char *to)
{
    if (marker->has_paint) {
        text_append(marker->out, "\n/Artifact BMC\n");
    }
    text_append_bytes(marker->out, marker->from, (size_t)(to - marker->from));
    if (marker->has_paint) {
        text_append(marker->out, "\nEMC\n");
    }
    marker->from = to;
    marker->has_paint = false;
}

static void begin_marked(struct marker *marker)
{
    marker->depth++;
    if (marker->has_id && marker->tag_depth == 0) {
        marker->is_sound = marker->is_sound && !marker->in_text && marker->depth == 1;
        marker->tag_depth = marker->depth;
        write_between(marker, marker->operands);
    }
}

static void end_marked(struct marker *marker, const struct token *token)
{
    if (marker->depth == marker->tag_depth) {
        const char *end = token->start + token->length;
        marker->is_sound = marker->is_sound && !marker->in_text && marker->depth > 0;
        text_append_bytes(marker->out, marker->from, (size_t)(end - marker->from));
        marker->from = end;
        marker->tag_depth = 0;
    }
    marker->depth--;
}

static void take_operator(struct marker *marker, const struct token *token)
{
    if (is(token, "BDC") || is(token, "BMC")) {
        begin_marked(marker);
    } else if (is(token, "EMC")) {
        end_marked(marker, token);
    } else if (is(token, "BT") || is(token, "ET")) {
        marker->in_text = token->start[0] == 'B';
    } else if (is(token, "BI")) {
        marker->is_sound = false;
    } else if (paints(token) && marker->tag_depth == 0) {
        marker->has_paint = true;
    }
}

bool pdf_mark_artefacts(const unsigned char *content, size_t length, struct text *out)
{
    struct reader reader = {.data = (const char *)content, .length = length};
    struct marker marker = {.out = out, .from = reader.data, .is_sound = true};
    struct token token;
    while (marker.is_sound && next_token(&reader, &token)) {
        if (token.is_operator) {
            take_operator(&marker, &token);
            marker.operands = NULL;
            marker.has_id = false;
            continue;
        }
        if (marker.operands == NULL) {
            marker.operands = token.start;
        }
        marker.has_id = marker.has_id || is(&token, "/MCID");
    }
    marker.is_sound = marker.is_sound && marker.depth == 0 && !marker.in_text;
    write_between(&marker, reader.data + length);
    return marker.is_sound && !out->overflowed;
}
