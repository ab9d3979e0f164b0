/* Base 64 under libFuzzer, against libsodium: after a first byte 'D' the rest are a text, which
 * both take or refuse alike; after any other they are bytes, whose text has to give them back. */
#include "promise.h"

#include "formats/base64.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

static bool is_digit(char character)
{
    return character != '\0' &&
           strchr("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/", character) !=
               NULL;
}

/* libsodium 1.0.18 takes every byte beyond ASCII for a '/', which RFC 4648, section 3.3, forbids.
 */
static bool plain_decode(uint8_t *bytes, const char *text, size_t length, size_t *ret_length)
{
    for (size_t i = 0; i < length; i++) {
        if ((unsigned char)text[i] > 0x7f) {
            return false;
        }
    }
    return sodium_base642bin(bytes, length + 1, text, length, NULL, ret_length, NULL,
                             sodium_base64_VARIANT_ORIGINAL) == 0;
}

/* The fault is at the first character that is no digit, or at the last digit before the padding,
 * whose spare bits are not zero, or at an end that comes too early. */
static void check_fault(const char *text, size_t length, size_t fault_at)
{
    promise(fault_at <= length, "a fault within the text");
    for (size_t i = 0; i < fault_at; i++) {
        promise(is_digit(text[i]), "digits before the fault");
    }
    if (fault_at == length) {
        promise(length % 4 != 0, "a text that ends too early");
    } else {
        promise(!is_digit(text[fault_at]) || (fault_at + 1 < length && text[fault_at + 1] == '='),
                "a fault at what does not fit");
    }
}

static void check_text(const char *text, size_t length)
{
    size_t room = base64_decoded_length(text, length);
    size_t plain_length = 0;
    size_t fault_at = SIZE_MAX;
    uint8_t *bytes = malloc(room + 1);
    uint8_t *plain = malloc(length + 1);
    promise(bytes != NULL && plain != NULL, "there is memory");
    bytes[room] = 0xa5;
    bool good = base64_decode(text, length, bytes, &fault_at);
    bool plain_good = plain_decode(plain, text, length, &plain_length);
    promise(good == plain_good, "taken or refused as libsodium does");
    promise(bytes[room] == 0xa5, "no more bytes than were announced");
    if (good) {
        promise(plain_length == room && (room == 0 || memcmp(bytes, plain, room) == 0),
                "the bytes that libsodium has");
    } else {
        check_fault(text, length, fault_at);
    }
    free(bytes);
    free(plain);
}

static void check_bytes(const uint8_t *bytes, size_t size)
{
    size_t room = sodium_base64_encoded_len(size, sodium_base64_VARIANT_ORIGINAL);
    size_t fault_at = SIZE_MAX;
    char *text = malloc(room);
    uint8_t *again = malloc(size + 1);
    promise(text != NULL && again != NULL, "there is memory");
    (void)sodium_bin2base64(text, room, bytes, size, sodium_base64_VARIANT_ORIGINAL);
    promise(base64_decoded_length(text, strlen(text)) == size, "length");
    promise(base64_decode(text, strlen(text), again, &fault_at), "a sound text is taken");
    promise(size == 0 || memcmp(again, bytes, size) == 0, "and gives the bytes back");
    free(text);
    free(again);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (size == 0) {
        return 0;
    }
    if (bytes[0] == 'D') {
        char *text = promise_text(bytes + 1, size - 1);
        check_text(text, size - 1);
        free(text);
    } else {
        check_bytes(bytes + 1, size - 1);
    }
    return 0;
}
