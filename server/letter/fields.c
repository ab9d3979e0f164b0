#include "letter/fields.h"

#include <stdint.h>
#include <string.h>

#define TEXT(name, meaning)                                                                        \
    {                                                                                              \
        name, LETTER_FIELD_TEXT, NULL, meaning                                                     \
    }
#define LIST(name, meaning)                                                                        \
    {                                                                                              \
        name, LETTER_FIELD_LIST, NULL, meaning                                                     \
    }
#define FLAG(name, meaning)                                                                        \
    {                                                                                              \
        name, LETTER_FIELD_FLAG, NULL, meaning                                                     \
    }
#define ITEM(list, name, meaning)                                                                  \
    {                                                                                              \
        name, LETTER_FIELD_TEXT, list, meaning                                                     \
    }

const struct letter_field LETTER_FIELDS[] = {
    TEXT("clinic.name", "the clinic, as its letterhead says"),
    TEXT("clinic.telephone", "the letterhead's telephone and such"),
    LIST("clinic.address", "the letterhead's address, line by line"),
    ITEM("clinic.address", "text", "a line"),
    TEXT("patient.name", "given name and family name"),
    TEXT("patient.family_name", "family name"),
    TEXT("patient.given_name", "given name"),
    TEXT("patient.birth_date", "date of birth, in words of the letter's language"),
    TEXT("patient.mrn", "medical record number"),
    TEXT("patient.sex", "sex in words; empty when it is not known"),
    FLAG("patient.is_female", "the patient's sex is female"),
    FLAG("patient.is_male", "the patient's sex is male"),
    TEXT("study.date", "day of the visit, in words"),
    TEXT("study.id", "the study's identifier"),
    LIST("study.kinds", "what was recorded, each kind once"),
    ITEM("study.kinds", "text", "a kind of study, in words"),
    FLAG("study.is_signed", "the study is signed"),
    FLAG("study.is_amended", "the study was changed after it had been signed"),
    TEXT("addressee.name", "whom the letter is for"),
    TEXT("addressee.salutation", "how the letter greets"),
    LIST("addressee.address", "the addressee's address, line by line"),
    ITEM("addressee.address", "text", "a line"),
    TEXT("question", "what was asked"),
    LIST("findings", "the findings, as interpreted"),
    ITEM("findings", "text", "a finding"),
    FLAG("has_findings", "there is a finding"),
    LIST("diagnoses", "the diagnoses"),
    ITEM("diagnoses", "text", "a diagnosis"),
    FLAG("has_diagnoses", "there is a diagnosis"),
    TEXT("conclusion", "the conclusion"),
    LIST("plan", "what is proposed"),
    ITEM("plan", "text", "a step"),
    FLAG("has_plan", "something is proposed"),
    LIST("numbers", "the key numbers, rounded for people"),
    ITEM("numbers", "label", "what was measured"),
    ITEM("numbers", "value", "the number"),
    ITEM("numbers", "unit", "its unit, which may be empty"),
    FLAG("has_numbers", "there is a key number"),
    TEXT("remarks", "words for this one letter"),
    TEXT("signer.name", "who signed the study; empty when nobody did"),
    TEXT("signer.date", "when it was signed, in words"),
    LIST("copies", "who gets a copy"),
    ITEM("copies", "text", "a recipient"),
    FLAG("has_copies", "somebody gets a copy"),
};

const size_t LETTER_FIELD_COUNT = sizeof LETTER_FIELDS / sizeof LETTER_FIELDS[0];

enum { NAME_MOST = 40 };

static bool is_named(const struct letter_field *field, const char *name, size_t length)
{
    return strlen(field->name) == length && memcmp(field->name, name, length) == 0;
}

static bool is_of_list(const struct letter_field *field, const char *list)
{
    return field->list != NULL && list != NULL && strcmp(field->list, list) == 0;
}

const struct letter_field *letter_field_find(const char *name, size_t length, const char *list)
{
    const struct letter_field *found = NULL;
    for (size_t i = 0; i < LETTER_FIELD_COUNT; i++) {
        const struct letter_field *field = &LETTER_FIELDS[i];
        if (is_named(field, name, length) &&
            (is_of_list(field, list) || (field->list == NULL && found == NULL))) {
            found = field;
        }
    }
    return found;
}

const struct letter_field *letter_field_of_any_list(const char *name, size_t length)
{
    for (size_t i = 0; i < LETTER_FIELD_COUNT; i++) {
        if (LETTER_FIELDS[i].list != NULL && is_named(&LETTER_FIELDS[i], name, length)) {
            return &LETTER_FIELDS[i];
        }
    }
    return NULL;
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Levenshtein's distance: letters to insert, remove or replace (V. Levenshtein, 1966). */
static size_t distance(const char *from, size_t from_length, const char *to, size_t to_length)
{
    size_t row[NAME_MOST + 1];
    for (size_t j = 0; j <= to_length; j++) {
        row[j] = j;
    }
    for (size_t i = 1; i <= from_length; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= to_length; j++) {
            size_t replaced = diagonal + (from[i - 1] == to[j - 1] ? 0 : 1);
            diagonal = row[j];
            row[j] = least(replaced, least(row[j], row[j - 1]) + 1);
        }
    }
    return row[to_length];
}

const char *letter_field_nearest(const char *name, size_t length, const char *list)
{
    const char *nearest = NULL;
    size_t nearest_distance = SIZE_MAX;
    if (length == 0 || length > NAME_MOST) {
        return NULL;
    }
    for (size_t i = 0; i < LETTER_FIELD_COUNT; i++) {
        const struct letter_field *field = &LETTER_FIELDS[i];
        if (field->list != NULL && !is_of_list(field, list)) {
            continue;
        }
        size_t field_length = strlen(field->name);
        size_t found = distance(name, length, field->name, field_length);
        /* "birth_date" is a member that was named without its group. */
        const char *dot = strchr(field->name, '.');
        if (dot != NULL && strlen(dot + 1) == length && memcmp(dot + 1, name, length) == 0) {
            found = 0;
        }
        if (found * 3 <= field_length && found < nearest_distance) {
            nearest_distance = found;
            nearest = field->name;
        }
    }
    return nearest;
}
