/* What a letter says by itself, in the languages that it can be written in. Private to letter/. */
#ifndef LETTER_WORDS_H
#define LETTER_WORDS_H

#include "base/arena.h"

#include <stdint.h>

struct letter_words {
    const char *language; /* "en": BCP 47 */
    const char *preliminary;
    const char *letter; /* a letter's title where its template gives none */
    const char *about;  /* before the patient's name: the document's title */
    const char *born;   /* before a date of birth */
    const char *doubtful;
    const char *caution; /* below every letter; REPORT_CAUTION says the same */
    const char *female;
    const char *male;
    const char *other_sex;
    const char *months[12];
    char decimal_sign;
};

/* NULL for a language that letters cannot be written in. */
const struct letter_words *letter_words_find(const char *language);

/* A recording's type in words; the code itself when it is not known. */
const char *letter_words_kind(const struct letter_words *words, const char *type);

/* "2 March 2026" for "2026-03-02..."; what is no date is returned as it is. */
const char *letter_words_date(struct arena *arena, const struct letter_words *words,
                              const char *date);

/* The UTC day of a time; "" for 0. */
const char *letter_words_day(struct arena *arena, const struct letter_words *words,
                             int64_t time_us);

/* ---- key numbers ---- */

struct letter_key_number {
    const char *section; /* of the analysis document */
    const char *code;
    const char *english;
    const char *german;
};

extern const struct letter_key_number LETTER_KEY_NUMBERS[];
extern const size_t LETTER_KEY_NUMBER_COUNT;

#endif
