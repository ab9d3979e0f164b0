/* Letters as handlers need them: from the store to a document, and sent. */
#ifndef API_LETTER_LOAD_H
#define API_LETTER_LOAD_H

#include "api/api.h"
#include "letter/letter.h"
#include "store/store_letter.h"
#include "store/store_study.h"

/* The template that every clinic has from the start, in each of LETTER_LANGUAGES. */
#define LETTER_STANDARD_TEMPLATE "standard"

/* The newest version of a template, or the standard one's version 0 where the clinic has made none.
 * ERROR_NOT_FOUND. */
MUST_CHECK bool letter_load_template(struct store *store, struct arena *arena, const char *name,
                                     const char *language, struct letter_template_row *ret_template,
                                     struct error *reterr);

/* The letterhead; before there is one the clinic's name alone. */
MUST_CHECK bool letter_load_letterhead(const struct api_context *context, struct arena *arena,
                                       struct letterhead *ret_letterhead, struct error *reterr);

/* What a study's letter is written with: where nothing was chosen the standard template, in the
 * letterhead's language. ERROR_NOT_FOUND: no such study. */
MUST_CHECK bool letter_load_settings(const struct api_context *context, struct arena *arena,
                                     const char *study_id, struct letter_settings *ret_settings,
                                     struct error *reterr);

struct whole_letter {
    struct study study;
    struct letter_settings settings;
    int template_version;
    int signature_number; /* 0: not signed */
    struct document *document;
};

/* Writes a study's letter. ERROR_NOT_FOUND: no such study; ERROR_INVALID: the template that it has
 * been given is not there, or makes too much of it. */
MUST_CHECK bool letter_load(const struct api_context *context, struct arena *arena,
                            const char *study_id, struct whole_letter *ret_letter,
                            struct error *reterr);

/* Strings of a JSON array that this server wrote. */
struct letter_list letter_list_read(struct arena *arena, const char *json);

struct letter_order {
    const char *study_id;
    const char *way;
    const char *recipient; /* NULL: the addressee */
    bool again;
    const char *batch_id; /* NULL: by itself */
};

/* Sends a letter: keeps it as it is now, and notes to whom and how it went. Where that cannot be,
 * true with a sentence in ret_refusal, and NULL as ret_dispatch_id. ERROR_NOT_FOUND: no such
 * study. */
MUST_CHECK bool letter_send(const struct api_context *context, struct arena *arena,
                            const struct letter_order *order, const char **ret_dispatch_id,
                            const char **ret_refusal, struct error *reterr);

#endif
