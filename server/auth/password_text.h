/* Inside auth/ only: the text of a password as it is hashed and compared. */
#ifndef AUTH_PASSWORD_TEXT_H
#define AUTH_PASSWORD_TEXT_H

#include <stddef.h>

/* The text in Normalization Form C (Unicode Standard Annex 15), with case folded or not; NULL when
 * it is not UTF-8 or holds a character that this Unicode does not know, whose form a later one
 * might change (the same, section 12.1). To be released with password_text_free(). */
char *password_text_normal(const char *text);
char *password_text_folded(const char *text);

/* Code points of UTF-8. */
size_t password_text_count(const char *text);

/* Overwrites the text before it is released. NULL is allowed. */
void password_text_free(char *text);

#endif
