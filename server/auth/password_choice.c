/* Which passwords may be chosen. */
#include "auth/password.h"

#include "auth/password_text.h"
#include "base/embedded.h"

#include <sodium.h>
#include <stdint.h>
#include <string.h>

enum {
    PATTERN_MOST = 8, /* characters of a pattern that is too short to repeat */
    RUN_LEAST = 3,    /* characters that make a run of the alphabet or the keyboard */
    DIGITS_MOST = 6,  /* digits that make a common word no better: a date */
    NAME_LEAST = 3,   /* characters of a name that counts as a word */
    NAMES_MOST = 32
};

static const char SERVICE_NAME[] = "penstock";

/* Rows and columns of keyboards in use, as fingers slide over them. */
static const char *const ROWS[] = {
    "1234567890",
    "qwertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "qwertzuiop",
    "yxcvbnm",
    "azertyuiop",
    "qsdfghjklm",
    "wxcvbn",
    "!@#$%^&*()",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
    "qazwsxedcrfvtgbyhnujmikolp",
    "1q2w3e4r5t6y7u8i9o0p",
};

/* Words that are known of the owner: each a folded text of its own. */
struct names {
    char *items[NAMES_MOST];
    size_t count;
};

static void add_names(struct names *names, const char *text, const char *separators)
{
    char *folded = text == NULL ? NULL : password_text_folded(text);
    if (folded == NULL) {
        return;
    }
    char *rest = NULL;
    for (const char *part = strtok_r(folded, separators, &rest);
         part != NULL && names->count < NAMES_MOST; part = strtok_r(NULL, separators, &rest)) {
        if (password_text_count(part) >= NAME_LEAST) {
            names->items[names->count++] = strdup(part);
        }
    }
    password_text_free(folded);
}

static struct names owner_names(const struct password_owner *owner)
{
    struct names names = {0};
    add_names(&names, SERVICE_NAME, " ");
    add_names(&names, owner->username, " ");
    add_names(&names, owner->username, ".-_@");
    add_names(&names, owner->display_name, " .,-_'()");
    add_names(&names, owner->clinic_name, " .,-_'()");
    return names;
}

static void names_free(struct names *names)
{
    for (size_t i = 0; i < names->count; i++) {
        password_text_free(names->items[i]);
    }
}

/* ---- common passwords ---- */

/* The next line of the list that is no comment; false at its end. */
static bool next_common(const char **position, const char **ret_line, size_t *ret_length)
{
    while (**position != '\0') {
        const char *line = *position;
        size_t length = strcspn(line, "\n");
        *position = line + length + (line[length] == '\n' ? 1 : 0);
        if (length > 0 && line[0] != '#') {
            *ret_line = line;
            *ret_length = length;
            return true;
        }
    }
    return false;
}

static const char *common_list(void)
{
    return (const char *)auth_files[0].data;
}

static bool is_common(const char *folded)
{
    const char *position = common_list();
    const char *line = NULL;
    size_t length = 0;
    while (next_common(&position, &line, &length)) {
        if (strlen(folded) == length && memcmp(folded, line, length) == 0) {
            return true;
        }
    }
    return false;
}

/* ---- patterns ---- */

/* A pattern of UTF-8 that repeats byte by byte repeats character by character. */
static bool repeats_short_pattern(const char *folded)
{
    size_t length = strlen(folded);
    size_t characters = 0;
    for (size_t period = 1; period <= length / 2 && characters <= PATTERN_MOST; period++) {
        characters += ((unsigned char)folded[period] & 0xc0U) != 0x80U ? 1 : 0;
        if (characters <= PATTERN_MOST && memcmp(folded, folded + period, length - period) == 0) {
            return true;
        }
    }
    return false;
}

/* Bytes from `text` on that count up, count down or stay the same, of ASCII letters and digits. */
static size_t run_length(const char *text)
{
    if (!(text[0] >= '0' && text[0] <= '9') && !(text[0] >= 'a' && text[0] <= 'z')) {
        return 0;
    }
    int step = text[1] - text[0];
    if (text[1] == '\0' || step < -1 || step > 1) {
        return 0;
    }
    size_t length = 2;
    while (text[length] != '\0' && text[length] - text[length - 1] == step) {
        length++;
    }
    return length >= RUN_LEAST ? length : 0;
}

static size_t common_length(const char *text, const char *row, size_t at, int step)
{
    size_t length = 0;
    size_t row_length = strlen(row);
    while (text[length] != '\0' && at < row_length && text[length] == row[at]) {
        length++;
        at += (size_t)step; /* below 0 wraps beyond the row */
    }
    return length;
}

static size_t row_run_length(const char *text)
{
    size_t longest = 0;
    for (size_t r = 0; r < sizeof ROWS / sizeof ROWS[0]; r++) {
        for (size_t at = 0; ROWS[r][at] != '\0'; at++) {
            size_t up = common_length(text, ROWS[r], at, 1);
            size_t down = common_length(text, ROWS[r], at, -1);
            longest = up > longest ? up : longest;
            longest = down > longest ? down : longest;
        }
    }
    return longest >= RUN_LEAST ? longest : 0;
}

/* ---- nothing but pieces that anyone would try ---- */

/* digits[i]: the fewest digits by which the first i bytes are pieces in a row; UINT8_MAX: they are
 * not. */
struct cover {
    const char *text;
    size_t length;
    uint8_t digits[PASSWORD_MAX_BYTES * 2 + 1];
};

static void reach(struct cover *cover, size_t from, size_t length, unsigned digits)
{
    unsigned total = cover->digits[from] + digits;
    if (length > 0 && from + length <= cover->length && total < cover->digits[from + length]) {
        cover->digits[from + length] = (uint8_t)total;
    }
}

/* Every shorter run is one too, and may be where the next word begins. */
static void reach_run(struct cover *cover, size_t from, size_t longest)
{
    for (size_t length = RUN_LEAST; length <= longest; length++) {
        reach(cover, from, length, 0);
    }
}

static void reach_words(struct cover *cover, size_t from, const struct names *names)
{
    const char *text = cover->text + from;
    const char *position = common_list();
    const char *line = NULL;
    size_t length = 0;
    while (next_common(&position, &line, &length)) {
        if (strncmp(text, line, length) == 0) {
            reach(cover, from, length, 0);
        }
    }
    for (size_t i = 0; i < names->count; i++) {
        size_t name_length = strlen(names->items[i]);
        if (strncmp(text, names->items[i], name_length) == 0) {
            reach(cover, from, name_length, 0);
        }
    }
}

static bool is_separator(char character)
{
    return strchr(" !\"#$%&'()*+,-./:;<=>?@[\\]^_`{|}~", character) != NULL;
}

static void reach_filler(struct cover *cover, size_t from)
{
    char character = cover->text[from];
    if (character >= '0' && character <= '9') {
        reach(cover, from, 1, 1);
    } else if (is_separator(character)) {
        reach(cover, from, 1, 0);
    }
}

static bool is_nothing_but_pieces(const char *folded, const struct names *names)
{
    struct cover cover = {.text = folded, .length = strlen(folded)};
    if (cover.length >= sizeof cover.digits) {
        return false;
    }
    memset(cover.digits, UINT8_MAX, sizeof cover.digits);
    cover.digits[0] = 0;
    for (size_t i = 0; i < cover.length; i++) {
        if (cover.digits[i] <= DIGITS_MOST) {
            reach_words(&cover, i, names);
            reach_run(&cover, i, run_length(folded + i));
            reach_run(&cover, i, row_run_length(folded + i));
            reach_filler(&cover, i);
        }
    }
    bool covered = cover.digits[cover.length] <= DIGITS_MOST;
    sodium_memzero(&cover, sizeof cover);
    return covered;
}

static const char *objection_to_guess(const char *folded, const struct password_owner *owner)
{
    if (is_common(folded)) {
        return "This password is among the first that anyone would try.";
    }
    if (repeats_short_pattern(folded)) {
        return "A password is not a short pattern repeated.";
    }
    struct names names = owner_names(owner);
    bool is_guess = is_nothing_but_pieces(folded, &names);
    names_free(&names);
    return is_guess ? "A password is not made of nothing but common words, names that others know, "
                      "dates, and rows of keys."
                    : NULL;
}

const char *password_objection(const char *password, const struct password_owner *owner)
{
    if (strlen(password) > PASSWORD_MAX_BYTES) {
        return "A password has at most 512 bytes.";
    }
    char *normal = password_text_normal(password);
    char *folded = password_text_folded(password);
    const char *objection = NULL;
    if (normal == NULL || folded == NULL) {
        objection = "A password has characters of Unicode only.";
    } else if (password_text_count(normal) < PASSWORD_MIN_CHARACTERS) {
        objection = "A password has at least 15 characters.";
    } else {
        objection = objection_to_guess(folded, owner);
    }
    password_text_free(normal);
    password_text_free(folded);
    return objection;
}
