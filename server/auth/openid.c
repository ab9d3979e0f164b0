#include "auth/openid.h"

#include "auth/id_token.h"
#include "auth/web_fetch.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/text.h"
#include "formats/json_reader.h"

#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* A sign-in holds a worker while the provider is asked. */
enum { CALLS_AT_A_TIME = 4 };

static const double ONE_ANSWER_MOST_S = 5.0;
static const double ALL_ANSWERS_MOST_S = 8.0;
static const double KEPT_S = 3600.0;
static const double KEYS_AGAIN_S = 60.0;  /* between looks for a key that is not known yet */
static const double FAILURE_KEPT_S = 5.0; /* a provider that is away is not asked by everybody */
static const double HUNG_S = 1.0;         /* what fails sooner holds nobody up */
static const double NEVER_S = -1e9;

#define WELL_KNOWN_PATH "/.well-known/openid-configuration"

/* What the provider says of itself; the texts live on the arena of whoever asked. */
struct provider {
    const char *authorization_endpoint;
    const char *token_endpoint;
    const char *keys_address;
    bool returns_issuer; /* RFC 9207: `iss` comes with every answer */
    bool secret_in_form; /* client_secret_post in place of client_secret_basic */
};

struct openid {
    struct openid_settings settings;
    struct arena *names; /* of the next two */
    const char *redirect_uri;
    const char *configuration_address;
    pthread_mutex_t mutex; /* for everything below */
    struct arena *memory;  /* of `provider` */
    struct provider provider;
    double provider_at_s;
    double provider_failed_at_s;
    double hung_at_s; /* when it last kept an end of a sign-in waiting in vain */
    json_t *keys;     /* NULL: not known */
    double keys_at_s;
    double keys_again_at_s;
    unsigned calls;
};

/* What one operation carries with it. */
struct call {
    struct openid *openid;
    struct arena *arena;
    double ends_at_s;
};

/* ---- settings ---- */

static bool is_set(const char *text)
{
    return text != NULL && text[0] != '\0';
}

static bool check_settings(const struct openid_settings *settings, struct error *reterr)
{
    if (!web_address_is_acceptable(settings->issuer) || strchr(settings->issuer, '?') != NULL) {
        return error_set(reterr, ERROR_INVALID,
                         "PENSTOCK_OIDC_ISSUER must be an https address without query");
    }
    if (!is_set(settings->client_id)) {
        return error_set(reterr, ERROR_INVALID,
                         "PENSTOCK_OIDC_CLIENT_ID must be set with PENSTOCK_OIDC_ISSUER");
    }
    if (!is_set(settings->public_url) || !web_address_is_origin(settings->public_url)) {
        return error_set(reterr, ERROR_INVALID,
                         "PENSTOCK_PUBLIC_URL must be the https address of this server, without a "
                         "path, when PENSTOCK_OIDC_ISSUER is set");
    }
    return true;
}

/* `base` without a slash at its end, and `path`. */
static const char *join(struct arena *arena, const char *base, const char *path)
{
    size_t length = strlen(base);
    length -= base[length - 1] == '/' ? 1 : 0;
    return arena_printf(arena, "%.*s%s", (int)length, base, path);
}

bool openid_new(const struct openid_settings *settings, struct openid **ret_openid,
                struct error *reterr)
{
    if (!check_settings(settings, reterr)) {
        return false;
    }
    struct openid *openid = calloc(1, sizeof *openid);
    if (openid == NULL || pthread_mutex_init(&openid->mutex, NULL) != 0) {
        abort();
    }
    openid->settings = *settings;
    openid->names = arena_new();
    openid->redirect_uri = join(openid->names, settings->public_url, OPENID_RETURN_PATH);
    openid->configuration_address = join(openid->names, settings->issuer, WELL_KNOWN_PATH);
    openid->provider_at_s = NEVER_S;
    openid->provider_failed_at_s = NEVER_S;
    openid->hung_at_s = NEVER_S;
    openid->keys_at_s = NEVER_S;
    openid->keys_again_at_s = NEVER_S;
    *ret_openid = openid;
    return true;
}

void openid_free(struct openid *openid)
{
    if (openid == NULL) {
        return;
    }
    json_decref(openid->keys);
    arena_free(openid->memory);
    (void)pthread_mutex_destroy(&openid->mutex);
    arena_free(openid->names);
    free(openid);
}

const char *openid_name(const struct openid *openid)
{
    return is_set(openid->settings.name) ? openid->settings.name : "Single sign-on";
}

bool openid_is_secure(const struct openid *openid)
{
    return strncasecmp(openid->settings.public_url, "https:", 6) == 0;
}

const char *openid_issuer(const struct openid *openid)
{
    return openid->settings.issuer;
}

/* ---- asking the provider ---- */

static bool call_begin(struct call *call, struct openid *openid, struct arena *arena,
                       struct error *reterr)
{
    *call = (struct call){openid, arena, clock_monotonic_s() + ALL_ANSWERS_MOST_S};
    pthread_mutex_lock(&openid->mutex);
    bool free_place = openid->calls < CALLS_AT_A_TIME;
    openid->calls += free_place ? 1U : 0U;
    pthread_mutex_unlock(&openid->mutex);
    return free_place || error_set(reterr, ERROR_UNAVAILABLE, "too many sign-ins at a time");
}

static void call_end(struct call *call)
{
    pthread_mutex_lock(&call->openid->mutex);
    call->openid->calls--;
    pthread_mutex_unlock(&call->openid->mutex);
}

static bool ask(const struct call *call, struct web_question question,
                struct web_answer *ret_answer, struct error *reterr)
{
    double left_s = call->ends_at_s - clock_monotonic_s();
    if (left_s < 0.01) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the provider is too slow");
    }
    const char *ca_file = call->openid->settings.ca_file;
    question.ca_file = is_set(ca_file) ? ca_file : NULL;
    question.most_s = left_s < ONE_ANSWER_MOST_S ? left_s : ONE_ANSWER_MOST_S;
    return web_fetch(call->arena, &question, ret_answer, reterr);
}

/* A JSON object as it lies at an address, on the arena. */
static const json_t *get_object(const struct call *call, const char *address, struct error *reterr)
{
    struct web_answer answer = {0};
    if (!ask(call, (struct web_question){.address = address}, &answer, reterr)) {
        return NULL;
    }
    if (answer.status != 200) {
        (void)error_set(reterr, ERROR_UNAVAILABLE, "the provider answered %ld", answer.status);
        return NULL;
    }
    struct fault_list faults;
    fault_list_init(&faults, call->arena);
    const json_t *object = json_reader_parse(call->arena, answer.body, answer.length, &faults);
    if (!json_is_object(object)) {
        (void)error_set(reterr, ERROR_INVALID, "the provider's answer is no JSON object");
        return NULL;
    }
    return object;
}

/* ---- discovery ---- */

static const char *address_of(const json_t *object, const char *member)
{
    const char *address = json_string_value(json_object_get(object, member));
    return address != NULL && web_address_is_acceptable(address) ? address : NULL;
}

/* Whether a list that the provider may leave out names `wanted`; `absent` when it is left out. */
static bool list_names(const json_t *object, const char *member, const char *wanted, bool absent)
{
    const json_t *list = json_object_get(object, member);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *item = json_string_value(json_array_get(list, i));
        if (item != NULL && strcmp(item, wanted) == 0) {
            return true;
        }
    }
    return list == NULL && absent;
}

/* OpenID Connect Discovery 1.0, sections 3 and 4.3. */
static bool read_provider(const struct openid *openid, const json_t *object,
                          struct provider *ret_provider, struct error *reterr)
{
    static const char *const METHODS = "token_endpoint_auth_methods_supported";
    const char *issuer = json_string_value(json_object_get(object, "issuer"));
    if (issuer == NULL || strcmp(issuer, openid->settings.issuer) != 0) {
        return error_set(reterr, ERROR_INVALID,
                         "the provider says that its issuer is another than "
                         "PENSTOCK_OIDC_ISSUER");
    }
    struct provider provider = {
        .authorization_endpoint = address_of(object, "authorization_endpoint"),
        .token_endpoint = address_of(object, "token_endpoint"),
        .keys_address = address_of(object, "jwks_uri"),
        .returns_issuer =
            json_is_true(json_object_get(object, "authorization_response_iss_parameter_supported")),
        .secret_in_form = !list_names(object, METHODS, "client_secret_basic", true) &&
                          list_names(object, METHODS, "client_secret_post", false),
    };
    if (provider.authorization_endpoint == NULL || provider.token_endpoint == NULL ||
        provider.keys_address == NULL) {
        return error_set(reterr, ERROR_INVALID,
                         "the provider lacks an https address for authorisation, token or keys");
    }
    if (!list_names(object, "response_types_supported", "code", true) ||
        !list_names(object, "code_challenge_methods_supported", "S256", true)) {
        return error_set(reterr, ERROR_INVALID,
                         "the provider does not offer the code flow with PKCE S256");
    }
    *ret_provider = provider;
    return true;
}

static struct provider copy_provider(struct arena *arena, const struct provider *provider)
{
    struct provider copy = *provider;
    copy.authorization_endpoint = arena_strdup(arena, provider->authorization_endpoint);
    copy.token_endpoint = arena_strdup(arena, provider->token_endpoint);
    copy.keys_address = arena_strdup(arena, provider->keys_address);
    return copy;
}

static void keep_provider(struct openid *openid, const struct provider *provider)
{
    pthread_mutex_lock(&openid->mutex);
    arena_free(openid->memory);
    openid->memory = arena_new();
    openid->provider = copy_provider(openid->memory, provider);
    openid->provider_at_s = clock_monotonic_s();
    pthread_mutex_unlock(&openid->mutex);
}

static bool kept_provider(const struct call *call, struct provider *ret_provider,
                          bool *ret_failed_lately)
{
    struct openid *openid = call->openid;
    double now_s = clock_monotonic_s();
    pthread_mutex_lock(&openid->mutex);
    bool is_fresh = now_s - openid->provider_at_s < KEPT_S;
    if (is_fresh) {
        *ret_provider = copy_provider(call->arena, &openid->provider);
    }
    *ret_failed_lately = now_s - openid->provider_failed_at_s < FAILURE_KEPT_S;
    pthread_mutex_unlock(&openid->mutex);
    return is_fresh;
}

static bool find_provider(const struct call *call, struct provider *ret_provider,
                          struct error *reterr)
{
    struct openid *openid = call->openid;
    bool failed_lately = false;
    if (kept_provider(call, ret_provider, &failed_lately)) {
        return true;
    }
    if (failed_lately) {
        (void)error_set(reterr, ERROR_UNAVAILABLE, "the provider could not be used a moment ago");
        return false;
    }
    const json_t *object = get_object(call, openid->configuration_address, reterr);
    if (object == NULL || !read_provider(openid, object, ret_provider, reterr)) {
        pthread_mutex_lock(&openid->mutex);
        openid->provider_failed_at_s = clock_monotonic_s();
        pthread_mutex_unlock(&openid->mutex);
        (void)error_context(reterr, "discovery");
        return false;
    }
    keep_provider(openid, ret_provider);
    return true;
}

/* ---- the provider's keys ---- */

static void release_json(void *value)
{
    json_decref(value);
}

/* The keys that are kept, when they are recent; whether a token names an unknown one tells `again`,
 * and then they are fetched anew at most once a minute. */
static const json_t *kept_keys(const struct call *call, bool again)
{
    struct openid *openid = call->openid;
    double now_s = clock_monotonic_s();
    json_t *keys = NULL;
    pthread_mutex_lock(&openid->mutex);
    bool is_due = now_s - openid->keys_at_s >= KEPT_S;
    if (again && now_s - openid->keys_again_at_s >= KEYS_AGAIN_S) {
        openid->keys_again_at_s = now_s;
        is_due = true;
    }
    if (!is_due && openid->keys != NULL) {
        keys = json_incref(openid->keys);
    }
    pthread_mutex_unlock(&openid->mutex);
    if (keys != NULL) {
        arena_defer(call->arena, release_json, keys);
    }
    return keys;
}

static const json_t *find_keys(const struct call *call, const struct provider *provider, bool again,
                               struct error *reterr)
{
    const json_t *kept = kept_keys(call, again);
    if (kept != NULL) {
        return kept;
    }
    const json_t *fetched = get_object(call, provider->keys_address, reterr);
    if (fetched != NULL && !json_is_array(json_object_get(fetched, "keys"))) {
        (void)error_set(reterr, ERROR_INVALID, "the provider's keys are no JWK set");
        fetched = NULL;
    }
    json_t *copy = fetched == NULL ? NULL : json_deep_copy(fetched);
    if (copy == NULL) {
        (void)error_context(reterr, "keys");
        return NULL;
    }
    struct openid *openid = call->openid;
    pthread_mutex_lock(&openid->mutex);
    json_decref(openid->keys);
    openid->keys = copy;
    openid->keys_at_s = clock_monotonic_s();
    pthread_mutex_unlock(&openid->mutex);
    return fetched;
}

/* ---- sending the browser away ---- */

void openid_challenge(const char *code_verifier, char challenge[OPENID_CHALLENGE_SIZE])
{
    unsigned char hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256(hash, (const unsigned char *)code_verifier, strlen(code_verifier));
    (void)sodium_bin2base64(challenge, OPENID_CHALLENGE_SIZE, hash, sizeof hash,
                            sodium_base64_VARIANT_URLSAFE_NO_PADDING);
}

static void append_parameter(struct text *out, struct arena *arena, const char *name,
                             const char *value)
{
    text_printf(out, "&%s=%s", name, web_encode(arena, value));
}

bool openid_begin(struct openid *openid, struct arena *arena, bool asks_anew,
                  struct openid_attempt *ret_attempt, const char **ret_address,
                  struct error *reterr)
{
    struct call call;
    struct provider provider = {0};
    if (!call_begin(&call, openid, arena, reterr)) {
        return false;
    }
    bool found = find_provider(&call, &provider, reterr);
    call_end(&call);
    if (!found) {
        return false;
    }
    secret_new("", ret_attempt->state);
    secret_new("", ret_attempt->nonce);
    secret_new("", ret_attempt->code_verifier);
    char challenge[OPENID_CHALLENGE_SIZE];
    openid_challenge(ret_attempt->code_verifier, challenge);

    struct text address;
    text_init(&address, arena, (size_t)4 * WEB_ADDRESS_MOST_BYTES);
    text_append(&address, provider.authorization_endpoint);
    text_append_char(&address, strchr(address.data, '?') == NULL ? '?' : '&');
    text_append(&address, "response_type=code");
    append_parameter(&address, arena, "scope", "openid");
    append_parameter(&address, arena, "client_id", openid->settings.client_id);
    append_parameter(&address, arena, "redirect_uri", openid->redirect_uri);
    append_parameter(&address, arena, "state", ret_attempt->state);
    append_parameter(&address, arena, "nonce", ret_attempt->nonce);
    append_parameter(&address, arena, "code_challenge", challenge);
    append_parameter(&address, arena, "code_challenge_method", "S256");
    if (asks_anew) {
        /* OpenID Connect Core 1.0, section 3.1.2.1; with max_age the token has to say auth_time. */
        append_parameter(&address, arena, "prompt", "login");
        append_parameter(&address, arena, "max_age", "0");
    }
    if (address.overflowed) {
        return error_set(reterr, ERROR_INVALID, "the settings of single sign-on are too long");
    }
    *ret_address = address.data;
    return true;
}

/* ---- the code for an ID token ---- */

/* RFC 6749, section 2.3.1: the two are encoded as a form before Basic authentication joins them. */
static struct web_question token_question(const struct call *call, const struct provider *provider,
                                          const struct openid_return *returned)
{
    const struct openid_settings *settings = &call->openid->settings;
    bool has_secret = is_set(settings->client_secret);
    struct web_question question = {.address = provider->token_endpoint};
    struct text form;
    text_init(&form, call->arena, WEB_ANSWER_MOST_BYTES);
    text_append(&form, "grant_type=authorization_code");
    append_parameter(&form, call->arena, "code", returned->code);
    append_parameter(&form, call->arena, "redirect_uri", call->openid->redirect_uri);
    append_parameter(&form, call->arena, "code_verifier", returned->code_verifier);
    if (has_secret && !provider->secret_in_form) {
        question.user = web_encode(call->arena, settings->client_id);
        question.password = web_encode(call->arena, settings->client_secret);
    } else {
        append_parameter(&form, call->arena, "client_id", settings->client_id);
    }
    if (has_secret && provider->secret_in_form) {
        append_parameter(&form, call->arena, "client_secret", settings->client_secret);
    }
    question.form = form.data;
    return question;
}

/* RFC 6749, section 5.2: which of the errors it is, when it is a word that can stand in a log. */
static bool refuse_exchange(const struct web_answer *answer, const json_t *object,
                            struct error *reterr)
{
    const char *word = json_string_value(json_object_get(object, "error"));
    bool is_plain = word != NULL && strlen(word) <= 40 &&
                    strspn(word, "abcdefghijklmnopqrstuvwxyz_") == strlen(word);
    if (answer->status == 400 && is_plain && strcmp(word, "invalid_grant") == 0) {
        return error_set(reterr, ERROR_NOT_FOUND, "the provider does not take the code");
    }
    return error_set(reterr, answer->status >= 500 ? ERROR_UNAVAILABLE : ERROR_INVALID,
                     "the provider answered %ld (%s)", answer->status,
                     is_plain ? word : "without a known error");
}

static bool exchange_code(const struct call *call, const struct provider *provider,
                          const struct openid_return *returned, const char **ret_token,
                          struct error *reterr)
{
    struct web_answer answer = {0};
    if (!ask(call, token_question(call, provider, returned), &answer, reterr)) {
        return error_context(reterr, "exchange");
    }
    struct fault_list faults;
    fault_list_init(&faults, call->arena);
    const json_t *object = json_reader_parse(call->arena, answer.body, answer.length, &faults);
    if (answer.status != 200) {
        (void)refuse_exchange(&answer, object, reterr);
        return error_context(reterr, "exchange");
    }
    *ret_token = json_string_value(json_object_get(object, "id_token"));
    return *ret_token != NULL ||
           error_set(reterr, ERROR_INVALID, "exchange: the provider's answer holds no ID token");
}

static bool judge_token(const struct call *call, const struct provider *provider,
                        const struct openid_return *returned, const char *token,
                        struct id_token_person *ret_person, struct error *reterr)
{
    const struct id_token_expectation expected = {
        .issuer = call->openid->settings.issuer,
        .client_id = call->openid->settings.client_id,
        .nonce = returned->nonce,
        .now_s = clock_now_us() / 1000000,
    };
    enum id_token_fault fault = ID_TOKEN_KEY_UNKNOWN;
    for (int look = 0; look < 2 && fault == ID_TOKEN_KEY_UNKNOWN; look++) {
        const json_t *keys = find_keys(call, provider, look > 0, reterr);
        if (keys == NULL) {
            return false;
        }
        fault = id_token_check(call->arena, token, keys, &expected, ret_person);
    }
    return fault == ID_TOKEN_GOOD ||
           error_set(reterr, ERROR_INVALID, "ID token: %s", id_token_fault_text(fault));
}

/* RFC 9207, section 2.4: an answer that names an issuer names ours, and one that has to, does. */
static bool issuer_fits(const struct openid *openid, const struct provider *provider,
                        const struct openid_return *returned)
{
    return returned->issuer == NULL ? !provider->returns_issuer
                                    : strcmp(returned->issuer, openid->settings.issuer) == 0;
}

static bool hung_lately(struct openid *openid)
{
    double now_s = clock_monotonic_s();
    pthread_mutex_lock(&openid->mutex);
    bool hung = now_s - openid->hung_at_s < FAILURE_KEPT_S;
    pthread_mutex_unlock(&openid->mutex);
    return hung;
}

/* Whoever comes within FAILURE_KEPT_S is told at once, in place of holding a worker too. */
static void note_hanging(const struct call *call)
{
    double now_s = clock_monotonic_s();
    if (now_s - (call->ends_at_s - ALL_ANSWERS_MOST_S) >= HUNG_S) {
        pthread_mutex_lock(&call->openid->mutex);
        call->openid->hung_at_s = now_s;
        pthread_mutex_unlock(&call->openid->mutex);
    }
}

bool openid_finish(struct openid *openid, struct arena *arena, const struct openid_return *returned,
                   struct id_token_person *ret_person, struct error *reterr)
{
    struct call call;
    struct provider provider = {0};
    const char *token = NULL;
    if (hung_lately(openid)) {
        return error_set(reterr, ERROR_UNAVAILABLE, "the provider did not answer a moment ago");
    }
    if (!call_begin(&call, openid, arena, reterr)) {
        return false;
    }
    bool good = find_provider(&call, &provider, reterr) &&
                (issuer_fits(openid, &provider, returned) ||
                 error_set(reterr, ERROR_INVALID, "iss of the return is missing or another")) &&
                exchange_code(&call, &provider, returned, &token, reterr) &&
                judge_token(&call, &provider, returned, token, ret_person, reterr);
    if (!good && reterr->kind == ERROR_UNAVAILABLE) {
        note_hanging(&call);
    }
    call_end(&call);
    return good;
}
