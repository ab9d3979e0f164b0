#include "http/proxies.h"

#include "http/field.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { ADDRESS_BYTES = 16, V4_BYTES = 4, SITE_BYTES = 8, PROXIES_MAX = 64 };

/* All as IPv6, IPv4 mapped into it (RFC 4291, section 2.5.5.2), so that there is one comparison. */
struct network {
    unsigned char bytes[ADDRESS_BYTES];
    unsigned bits;
};

struct proxies {
    size_t count;
    struct network networks[PROXIES_MAX];
};

static const unsigned char v4_mapped[ADDRESS_BYTES - V4_BYTES] = {0, 0, 0, 0, 0,    0,
                                                                  0, 0, 0, 0, 0xFF, 0xFF};

static bool is_v4(const unsigned char bytes[ADDRESS_BYTES])
{
    return memcmp(bytes, v4_mapped, sizeof v4_mapped) == 0;
}

static bool read_address(const char *text, unsigned char bytes[ADDRESS_BYTES])
{
    struct in_addr v4;
    if (inet_pton(AF_INET, text, &v4) == 1) {
        memcpy(bytes, v4_mapped, sizeof v4_mapped);
        memcpy(bytes + sizeof v4_mapped, &v4, V4_BYTES);
        return true;
    }
    return inet_pton(AF_INET6, text, bytes) == 1;
}

static bool read_slice(struct slice slice, unsigned char bytes[ADDRESS_BYTES])
{
    char text[INET6_ADDRSTRLEN];
    if (slice.length >= sizeof text) {
        return false;
    }
    memcpy(text, slice.start, slice.length);
    text[slice.length] = '\0';
    return read_address(text, bytes);
}

static bool read_digits(struct slice slice, unsigned most, unsigned *ret_number)
{
    unsigned number = 0;
    if (slice.length == 0 || slice.length > 3) {
        return false;
    }
    for (size_t i = 0; i < slice.length; i++) {
        if (slice.start[i] < '0' || slice.start[i] > '9') {
            return false;
        }
        number = number * 10 + (unsigned)(slice.start[i] - '0');
    }
    *ret_number = number;
    return number <= most;
}

static bool bit_of(const unsigned char *bytes, unsigned bit)
{
    return (bytes[bit / 8] >> (7 - bit % 8) & 1) != 0;
}

/* Bits beyond the prefix are a slip, e.g. 10.1.2.3/16: one of the two is not what was meant. */
static bool read_network(struct slice entry, struct network *ret_network)
{
    const char *slash = memchr(entry.start, '/', entry.length);
    struct slice address = {entry.start,
                            slash == NULL ? entry.length : (size_t)(slash - entry.start)};
    if (!read_slice(address, ret_network->bytes)) {
        return false;
    }
    bool v4 = memchr(address.start, ':', address.length) == NULL;
    unsigned whole = v4 ? V4_BYTES * 8 : ADDRESS_BYTES * 8;
    unsigned bits = whole;
    if (slash != NULL &&
        !read_digits((struct slice){slash + 1, entry.length - address.length - 1}, whole, &bits)) {
        return false;
    }
    ret_network->bits = bits + (v4 ? (unsigned)sizeof v4_mapped * 8 : 0);
    for (unsigned bit = ret_network->bits; bit < ADDRESS_BYTES * 8; bit++) {
        if (bit_of(ret_network->bytes, bit)) {
            return false;
        }
    }
    return true;
}

bool proxies_new(const char *text, struct proxies **ret_proxies, struct error *reterr)
{
    struct proxies *proxies = calloc(1, sizeof *proxies);
    if (proxies == NULL) {
        return error_set(reterr, ERROR_UNAVAILABLE, "no memory for the proxies");
    }
    const char *at = text == NULL ? "" : text;
    at += strspn(at, ", \t");
    while (*at != '\0') {
        struct slice entry = {at, strcspn(at, ", \t")};
        if (proxies->count == PROXIES_MAX ||
            !read_network(entry, &proxies->networks[proxies->count])) {
            (void)error_set(reterr, ERROR_INVALID,
                            "\"%.*s\" is no numeric address or network (or it is one more than %d)",
                            (int)entry.length, entry.start, PROXIES_MAX);
            free(proxies);
            return false;
        }
        proxies->count++;
        at += entry.length;
        at += strspn(at, ", \t");
    }
    *ret_proxies = proxies;
    return true;
}

void proxies_free(struct proxies *proxies)
{
    free(proxies);
}

static bool network_holds(const struct network *network, const unsigned char *bytes)
{
    unsigned whole = network->bits / 8;
    if (memcmp(network->bytes, bytes, whole) != 0) {
        return false;
    }
    for (unsigned bit = whole * 8; bit < network->bits; bit++) {
        if (bit_of(network->bytes, bit) != bit_of(bytes, bit)) {
            return false;
        }
    }
    return true;
}

static bool holds_bytes(const struct proxies *proxies, const unsigned char *bytes)
{
    for (size_t i = 0; i < proxies->count; i++) {
        if (network_holds(&proxies->networks[i], bytes)) {
            return true;
        }
    }
    return false;
}

bool proxies_hold(const struct proxies *proxies, const char *address)
{
    unsigned char bytes[ADDRESS_BYTES];
    return proxies->count > 0 && read_address(address, bytes) && holds_bytes(proxies, bytes);
}

/* "192.0.2.1", "192.0.2.1:4711", "2001:db8::1", "[2001:db8::1]", "[2001:db8::1]:4711" */
static bool read_forwarded(struct slice entry, unsigned char bytes[ADDRESS_BYTES])
{
    if (entry.length > 0 && entry.start[0] == '[') {
        const char *end = memchr(entry.start, ']', entry.length);
        return end != NULL &&
               read_slice((struct slice){entry.start + 1, (size_t)(end - entry.start) - 1}, bytes);
    }
    const char *colon = memchr(entry.start, ':', entry.length);
    if (colon != NULL && memchr(entry.start, '.', (size_t)(colon - entry.start)) != NULL) {
        entry.length = (size_t)(colon - entry.start);
    }
    return read_slice(entry, bytes);
}

/* The entry before `end`, trimmed; *end moves to its left. False when there is none. */
static bool last_entry(const char *start, const char **end, struct slice *ret_entry)
{
    if (*end == NULL) {
        return false;
    }
    const char *comma = memrchr(start, ',', (size_t)(*end - start));
    const char *first = comma == NULL ? start : comma + 1;
    const char *last = *end;
    while (first < last && (*first == ' ' || *first == '\t')) {
        first++;
    }
    while (last > first && (last[-1] == ' ' || last[-1] == '\t')) {
        last--;
    }
    *ret_entry = (struct slice){first, (size_t)(last - first)};
    *end = comma;
    return true;
}

static const char *print_address(struct arena *arena, const unsigned char bytes[ADDRESS_BYTES])
{
    char *text = arena_alloc(arena, INET6_ADDRSTRLEN);
    bool v4 = is_v4(bytes);
    const void *from = v4 ? bytes + sizeof v4_mapped : bytes;
    return inet_ntop(v4 ? AF_INET : AF_INET6, from, text, INET6_ADDRSTRLEN);
}

const char *proxies_client(const struct proxies *proxies, struct arena *arena, const char *peer,
                           const char *field)
{
    const char *client = peer;
    const char *end = field == NULL ? NULL : field + strlen(field);
    struct slice entry;
    unsigned char bytes[ADDRESS_BYTES];
    while (last_entry(field, &end, &entry) && read_forwarded(entry, bytes)) {
        client = print_address(arena, bytes);
        if (!holds_bytes(proxies, bytes)) {
            break;
        }
    }
    return client;
}

void proxies_site(const char *address, char site[PROXIES_SITE_SIZE])
{
    unsigned char bytes[ADDRESS_BYTES] = {0};
    if (read_address(address, bytes) && !is_v4(bytes)) {
        memset(bytes + SITE_BYTES, 0, sizeof bytes - SITE_BYTES);
        (void)inet_ntop(AF_INET6, bytes, site, PROXIES_SITE_SIZE);
        return;
    }
    size_t length = strnlen(address, PROXIES_SITE_SIZE - 1);
    memcpy(site, address, length);
    site[length] = '\0';
}
