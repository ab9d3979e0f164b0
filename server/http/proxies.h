/* The proxies whose word about a client is taken, and what X-Forwarded-For makes of it. */
#ifndef HTTP_PROXIES_H
#define HTTP_PROXIES_H

#include "base/arena.h"
#include "base/error.h"

#include <stdbool.h>

struct proxies;

/* Reads comma-separated numeric addresses and networks (RFC 4632, section 3.1; RFC 4291, section
 * 2.3): "127.0.0.1, 10.1.0.0/16, fd00::/8". NULL or "" is nobody. ERROR_INVALID names the entry. */
MUST_CHECK bool proxies_new(const char *text, struct proxies **ret_proxies, struct error *reterr);

/* NULL is allowed. */
void proxies_free(struct proxies *proxies);

/* Whether a numeric address is one of them; false for what is no address. An IPv4 address in IPv6's
 * clothes (::ffff:10.1.2.3) counts as itself. */
bool proxies_hold(const struct proxies *proxies, const char *address);

/* The client behind the trusted `peer`: X-Forwarded-For is read from the right, for as long as its
 * addresses are proxies of ours; the first that is not is the client, and what stands left of it is
 * only what that client says. An entry that is no address (a port may follow it) ends the search
 * at the proxy that vouched for nothing better. On the arena, or `peer`. `field` may be NULL. */
const char *proxies_client(const struct proxies *proxies, struct arena *arena, const char *peer,
                           const char *field);

/* Writes the part of a numeric address that one client has for itself: all of an IPv4 address, the
 * first 64 bits of an IPv6 one (RFC 6177, section 2: a site has at least as much). */
enum { PROXIES_SITE_SIZE = 48 };

void proxies_site(const char *address, char site[PROXIES_SITE_SIZE]);

#endif
