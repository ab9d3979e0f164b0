#include "api/api.h"
#include "api/handlers.h"
#include "store/store_retention.h"

#include <math.h>

enum { YEARS_MOST = 200 };

static void append_years(struct text *out, const char *name, struct optional_number years)
{
    text_printf(out, ",\"%s\":", name);
    if (years.known) {
        text_append_number(out, years.value);
    } else {
        text_append(out, "null");
    }
}

static void respond_rule(const struct http_request *request, struct http_response *response,
                         const struct retention_rule *rule)
{
    struct text body;
    text_init(&body, request->arena, LIMIT_SMALL_BODY_BYTES);
    text_printf(&body, "{\"version\":%d", rule->version);
    append_years(&body, "keep_years", rule->keep_years);
    append_years(&body, "keep_until_age_years", rule->keep_until_age_years);
    text_append_char(&body, '}');
    api_respond_row(request, response, 200, &body, rule->version, NULL, NULL);
}

void retention_get(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct retention_rule rule;
    struct error error = {0};
    if (!retention_rule_load(context->store, &rule, &error)) {
        api_fail(request, response, &error);
        return;
    }
    respond_rule(request, response, &rule);
}

static struct optional_number read_years(struct json_reader *reader, const char *member)
{
    struct optional_number years =
        json_reader_number(reader, member, JSON_OPTIONAL, 1.0, YEARS_MOST);
    if (years.known && islessgreater(floor(years.value), years.value)) {
        fault_add(reader->faults, json_reader_pointer(reader, member),
                  "Must be a whole number of years.");
    }
    return years;
}

void retention_put(void *opaque, struct http_request *request, struct http_response *response)
{
    struct api_context *context = opaque;
    struct json_reader reader;
    struct fault_list faults;
    struct retention_rule stored;
    struct error error = {0};
    if (!api_read_object(request, response, &reader, &faults)) {
        return;
    }
    if (!retention_rule_load(context->store, &stored, &error)) {
        api_fail(request, response, &error);
        return;
    }
    struct retention_rule rule = {
        .version = stored.version,
        .keep_years = read_years(&reader, "keep_years"),
        .keep_until_age_years = read_years(&reader, "keep_until_age_years"),
    };
    json_reader_close(&reader);
    if (rule.keep_until_age_years.known && !rule.keep_years.known) {
        fault_add(&faults, "/keep_until_age_years", "Has no meaning without keep_years.");
    }
    if (api_reject(request, response, &faults) || !api_matches(request, response, stored.version)) {
        return;
    }
    if (!retention_rule_replace(context->store, &rule, &error)) {
        api_fail(request, response, &error);
        return;
    }
    rule.version++;
    respond_rule(request, response, &rule);
}
