/* What has arrived of an open recording, as one document. */
#ifndef API_PIECES_H
#define API_PIECES_H

#include "api/recording_access.h"

/* Joins every piece that has arrived; missing samples stand for what has not. ERROR_INVALID with
 * faults: nothing can be made of them yet. */
MUST_CHECK bool pieces_assemble(struct api_context *context, struct arena *arena,
                                const struct recording_row *row,
                                const struct recording_document **ret_document,
                                struct fault_list *faults, struct error *reterr);

#endif
