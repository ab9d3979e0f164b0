#include "api/patient_access.h"

#include "store/store_erasure.h"

void patient_fail(struct api_context *context, const struct http_request *request,
                  struct http_response *response, const char *id, const struct error *error)
{
    bool erased = false;
    struct error found = *error;
    if (error->kind == ERROR_NOT_FOUND && erasure_has_been(context->store, id, &erased, &found) &&
        erased) {
        http_problem(request, response, 410,
                     "This patient was erased. Nothing is kept but this id and who decided.");
        return;
    }
    api_fail(request, response, &found);
}
