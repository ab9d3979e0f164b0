#include "formats/document_scan.h"

#include "formats/number_scan.h"

#include <assert.h>
#include <string.h>

struct scanner {
    const char *at;
    const char *end;
    struct document_scan *scan;
    struct arena *arena;
    size_t removed;      /* bytes cut out so far */
    size_t sample_total; /* samples kept so far */
};

/* ---- JSON's tokens, as far as sound JSON needs them. Each function passes what it names; false
 * means that the text is not sound here: then the rest is left to Jansson as it stands. ---- */

static bool is_space(char c)
{
    return c == ' ' || c == '\n' || c == '\r' || c == '\t';
}

static void pass_space(struct scanner *scanner)
{
    while (scanner->at < scanner->end && is_space(*scanner->at)) {
        scanner->at++;
    }
}

/* The next character after space; NUL at the end. */
static char peek(struct scanner *scanner)
{
    pass_space(scanner);
    return scanner->at < scanner->end ? *scanner->at : '\0';
}

static bool pass(struct scanner *scanner, char wanted)
{
    if (peek(scanner) != wanted) {
        return false;
    }
    scanner->at++;
    return true;
}

static bool pass_string(struct scanner *scanner)
{
    if (!pass(scanner, '"')) {
        return false;
    }
    for (; scanner->at < scanner->end; scanner->at++) {
        if (*scanner->at == '"') {
            scanner->at++;
            return true;
        }
        if (*scanner->at == '\\' && scanner->at + 1 < scanner->end) {
            scanner->at++;
        }
    }
    return false;
}

/* A number, true, false or null. */
static bool pass_word(struct scanner *scanner)
{
    const char *start = scanner->at;
    while (scanner->at < scanner->end && *scanner->at != '\0' && !is_space(*scanner->at) &&
           strchr("\"[]{},:", *scanner->at) == NULL) {
        scanner->at++;
    }
    return scanner->at > start;
}

static bool pass_value(struct scanner *scanner)
{
    size_t depth = 0;
    do {
        char next = peek(scanner);
        if (next == '"') {
            if (!pass_string(scanner)) {
                return false;
            }
        } else if (next == '[' || next == '{') {
            depth++;
            scanner->at++;
        } else if (depth > 0 && (next == ']' || next == '}')) {
            depth--;
            scanner->at++;
        } else if (depth > 0 && (next == ',' || next == ':')) {
            scanner->at++;
        } else if (!pass_word(scanner)) {
            return false;
        }
    } while (depth > 0);
    return true;
}

/* A member's name with its colon; *ret_name is its text between the quotes. */
static bool pass_name(struct scanner *scanner, const char **ret_name, size_t *ret_length)
{
    (void)peek(scanner);
    *ret_name = scanner->at + 1;
    if (!pass_string(scanner)) {
        return false;
    }
    *ret_length = (size_t)(scanner->at - 1 - *ret_name);
    return pass(scanner, ':');
}

/* A name written with escapes is not recognised: its value then stays in the tree. */
static bool is_name(const char *name, size_t length, const char *wanted)
{
    return length == strlen(wanted) && memcmp(name, wanted, length) == 0;
}

/* ---- Eight bytes at a time: what is looked for in megabytes ---- */

static uint64_t every_byte(unsigned char value)
{
    return UINT64_C(0x0101010101010101) * value;
}

static uint64_t load_word(const char *at)
{
    uint64_t word = 0;
    memcpy(&word, at, sizeof word);
    return word;
}

/* 0x80 in each byte of the word that is less than `limit` (1 to 0x80), 0 in the others. No byte
 * carries into the next. */
static uint64_t bytes_below(uint64_t word, unsigned char limit)
{
    uint64_t low = word & every_byte(0x7f);
    uint64_t at_least = low + every_byte((unsigned char)(0x80 - limit));
    return ~(at_least | word) & every_byte(0x80);
}

/* ---- What is cut out ---- */

static void cut_out(struct scanner *scanner, const char *from, const char *to)
{
    struct document_scan *scan = scanner->scan;
    assert(scan->cut_count < DOCUMENT_CUTS_MAX);
    size_t length = (size_t)(to - from);
    scan->cuts[scan->cut_count++] = (struct document_cut){
        .at = (size_t)(from - scan->body) - scanner->removed, .length = length};
    scanner->removed += length;
}

static const char *after_space(const char *at)
{
    while (is_space(*at)) {
        at++;
    }
    return at;
}

/* A number or null; NULL when it is something else. `end` is the array's closing bracket. */
static const char *read_item(const char *at, const char *end, struct sample_builder *builder)
{
    static const char null[] = {'n', 'u', 'l', 'l'};
    if (*at != 'n') {
        return number_scan(at, builder);
    }
    if ((size_t)(end - at) < sizeof null || memcmp(at, null, sizeof null) != 0) {
        return NULL;
    }
    if (builder != NULL) {
        sample_builder_add_missing(builder);
    }
    return at + sizeof null;
}

/* The items of an array; nothing passes its closing bracket, for no item holds one. */
static bool read_items(const char *at, const char *end, struct sample_builder *builder)
{
    for (;;) {
        at = read_item(after_space(at), end, builder);
        if (at == NULL) {
            return false;
        }
        at = after_space(at);
        if (*at != ',') {
            return at == end;
        }
        at++;
    }
}

static size_t count_items(const char *at, const char *end)
{
    size_t commas = 0;
    for (; (size_t)(end - at) >= sizeof(uint64_t); at += sizeof(uint64_t)) {
        commas += (bytes_below(load_word(at) ^ every_byte(','), 1) >> 7) * every_byte(1) >> 56;
    }
    for (; at < end; at++) {
        commas += *at == ',' ? 1 : 0;
    }
    return commas + 1;
}

static bool read_samples(struct scanner *scanner, const char *first, const char *end,
                         struct samples *ret_samples)
{
    size_t count = count_items(first, end);
    if (count > LIMIT_CHANNEL_SAMPLES || count > LIMIT_RECORDING_SAMPLES - scanner->sample_total) {
        *ret_samples = (struct samples){.count = count};
        return read_items(first, end, NULL);
    }
    struct sample_builder builder;
    sample_builder_init(&builder, scanner->arena, count);
    scanner->sample_total += count;
    if (!read_items(first, end, &builder)) {
        return false;
    }
    *ret_samples = sample_builder_samples(&builder);
    return true;
}

static bool scan_samples(struct scanner *scanner, struct scanned_channel *channel)
{
    if (peek(scanner) != '[' || channel->has_samples) {
        return pass_value(scanner);
    }
    const char *first = scanner->at + 1;
    const char *end = memchr(first, ']', (size_t)(scanner->end - first));
    if (end == NULL || !read_samples(scanner, first, end, &channel->samples)) {
        return pass_value(scanner);
    }
    channel->has_samples = true;
    cut_out(scanner, first, end);
    scanner->at = end + 1;
    return true;
}

static bool is_plain_character(char c)
{
    return (unsigned char)c >= ' ' && (unsigned char)c < 0x80 && c != '\\';
}

/* Whether a JSON string of these bytes stands for them: ASCII, no control character, no escape. */
static bool is_plain(const char *at, const char *end)
{
    uint64_t others = 0;
    for (; (size_t)(end - at) >= sizeof(uint64_t); at += sizeof(uint64_t)) {
        uint64_t word = load_word(at);
        others |= word | bytes_below(word, ' ') | bytes_below(word ^ every_byte('\\'), 1);
    }
    bool is_plain = (others & every_byte(0x80)) == 0;
    for (; at < end; at++) {
        is_plain = is_plain && is_plain_character(*at);
    }
    return is_plain;
}

static bool scan_data(struct scanner *scanner, struct scanned_channel *channel)
{
    if (peek(scanner) != '"' || channel->data != NULL) {
        return pass_value(scanner);
    }
    const char *first = scanner->at + 1;
    const char *end = memchr(first, '"', (size_t)(scanner->end - first));
    if (end == NULL || !is_plain(first, end)) {
        return pass_value(scanner);
    }
    channel->data = first;
    channel->data_length = (size_t)(end - first);
    cut_out(scanner, first, end);
    scanner->at = end + 1;
    return true;
}

/* ---- The way there ---- */

static bool scan_channel(struct scanner *scanner, struct scanned_channel *channel)
{
    if (peek(scanner) != '{') {
        return pass_value(scanner);
    }
    scanner->at++;
    if (pass(scanner, '}')) {
        return true;
    }
    do {
        const char *name = NULL;
        size_t length = 0;
        if (!pass_name(scanner, &name, &length)) {
            return false;
        }
        bool passed = is_name(name, length, "samples") ? scan_samples(scanner, channel)
                      : is_name(name, length, "data")  ? scan_data(scanner, channel)
                                                       : pass_value(scanner);
        if (!passed) {
            return false;
        }
    } while (pass(scanner, ','));
    return pass(scanner, '}');
}

static void scan_channels(struct scanner *scanner)
{
    if (!pass(scanner, '[')) {
        return;
    }
    size_t index = 0;
    while (index < LIMIT_CHANNELS && scan_channel(scanner, &scanner->scan->channels[index]) &&
           pass(scanner, ',')) {
        index++;
    }
}

/* Finds "channels"; what stands after it need not be looked at. */
static void scan_document(struct scanner *scanner)
{
    if (!pass(scanner, '{')) {
        return;
    }
    do {
        const char *name = NULL;
        size_t length = 0;
        if (!pass_name(scanner, &name, &length)) {
            return;
        }
        if (is_name(name, length, "channels")) {
            scan_channels(scanner);
            return;
        }
    } while (pass_value(scanner) && pass(scanner, ','));
}

/* ---- The reduced text ---- */

static void reduce(struct document_scan *scan, struct arena *arena, size_t removed)
{
    char *reduced = arena_alloc(arena, scan->length - removed + 1);
    const char *from = scan->body;
    size_t written = 0;
    for (size_t i = 0; i < scan->cut_count; i++) {
        size_t kept = scan->cuts[i].at - written;
        memcpy(reduced + written, from, kept);
        written += kept;
        from += kept + scan->cuts[i].length;
    }
    memcpy(reduced + written, from, (size_t)(scan->body + scan->length - from));
    scan->reduced = reduced;
    scan->reduced_length = scan->length - removed;
}

void document_scan_nothing(struct document_scan *scan, const char *body, size_t length)
{
    *scan = (struct document_scan){
        .body = body, .length = length, .reduced = body, .reduced_length = length};
}

void document_scan_run(struct document_scan *scan, struct arena *arena, const char *body,
                       size_t length)
{
    document_scan_nothing(scan, body, length);
    if (length == 0) {
        return;
    }
    struct scanner scanner = {.at = body, .end = body + length, .scan = scan, .arena = arena};
    scan_document(&scanner);
    if (scanner.removed > 0) {
        reduce(scan, arena, scanner.removed);
    }
}

size_t document_scan_origin(const struct document_scan *scan, size_t at)
{
    size_t origin = at;
    for (size_t i = 0; i < scan->cut_count && scan->cuts[i].at <= at; i++) {
        origin += scan->cuts[i].length;
    }
    return origin;
}

const struct scanned_channel *document_scan_channel(const struct document_scan *scan, size_t index)
{
    static const struct scanned_channel nothing;
    return index < LIMIT_CHANNELS ? &scan->channels[index] : &nothing;
}
