#include "scan_text.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

struct maker {
    const uint8_t *bytes;
    size_t left;
    char *out;
    size_t length;
};

#define PICK(maker, list) (list)[below((maker), sizeof(list) / sizeof((list)[0]))]

static unsigned next(struct maker *maker)
{
    if (maker->left == 0) {
        return 0;
    }
    maker->left--;
    return *maker->bytes++;
}

static size_t below(struct maker *maker, size_t limit)
{
    return next(maker) % limit;
}

static bool one_in(struct maker *maker, size_t chance)
{
    return below(maker, chance) == chance - 1; /* no when the bytes are used up */
}

static void put(struct maker *maker, const char *text)
{
    size_t length = strlen(text);
    if (length <= SCAN_TEXT_MAX - maker->length) {
        memcpy(maker->out + maker->length, text, length);
        maker->length += length;
    }
}

static void put_space(struct maker *maker)
{
    static const char *const spaces[] = {" ", "\n", "\t", "\r\n", "  \n ", "\r"};
    if (one_in(maker, 8)) {
        put(maker, PICK(maker, spaces));
    }
}

static void put_digits(struct maker *maker, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        put(maker, (const char[]){(char)('0' + below(maker, 10)), '\0'});
    }
}

/* A number of chance digits, in JSON's grammar. */
static void put_number(struct maker *maker)
{
    put(maker, one_in(maker, 3) ? "-" : "");
    if (one_in(maker, 3)) {
        put(maker, "0");
    } else {
        put(maker, (const char[]){(char)('1' + below(maker, 9)), '\0'});
        put_digits(maker, below(maker, one_in(maker, 8) ? 24 : 4));
    }
    if (!one_in(maker, 4)) {
        put(maker, ".");
        put_digits(maker, 1 + below(maker, one_in(maker, 8) ? 70 : 4));
    }
    if (one_in(maker, 8)) {
        static const char *const letters[] = {"e", "E", "e-", "E+", "e-0"};
        put(maker, PICK(maker, letters));
        put_digits(maker, 1 + below(maker, 3));
    }
}

static void put_item(struct maker *maker)
{
    static const char *const usual[] = {"12.3",  "0",    "-0.1", "12.0", "7",    "null",
                                        "-4.25", "1.50", "30.1", "29.9", "10.00"};
    static const char *const awkward[] = {
        "-0",
        "-0.0",
        "0.0",
        "0e0",
        "-0e0",
        "1e9",
        "1E+9",
        "-1000000000",
        "1000000000.0",
        "1000000001",
        "1000000000.0000001",
        "1000000000.00000001",
        "2147483647",
        "2147.483647",
        "2147.483648",
        "-2147.483648",
        "214748364.7",
        "0.000001",
        "0.0000001",
        "9007199254740993e-10",
        "9007199254740992.0e-8",
        "123456789.12345678",
        "1e-22",
        "1e-23",
        "1e-400",
        "18446744073709551617e-20",
        "4.9e-324",
        "2.4703282292062327e-324",
        "2.2250738585072011e-308",
        "0.30000000000000004",
        "0.1000000000000000055511151231257827021181583404541015625",
        "0.10000000000000000555111512312578270211815834045410156250000001",
        "0.000000000000000000000000000000000000000000000000000000000000001e63",
        "null",
    };
    static const char *const wrong[] = {
        "true",    "\"a\"",
        "[]",      "{}",
        "[1]",     "01",
        "+1",      "1.",
        ".5",      "1e",
        "-",       "NaN",
        "nul",     "",
        "0x10",    "1 2",
        "1,,2",    "Nan",
        "1e+",     "- 1",
        "\"]\"",   "1]",
        "\xff",    "1\f",
        "-a",      "//",
        "1.e1",    "-01",
        "null0",   "1e5.",
        "\"\\\"]", "infinity",
        "1e400",   "99999999999999999999",
    };
    put_space(maker);
    if (one_in(maker, 250)) {
        put(maker, PICK(maker, wrong));
    } else if (one_in(maker, 6)) {
        put(maker, PICK(maker, awkward));
    } else if (one_in(maker, 3)) {
        put_number(maker);
    } else {
        put(maker, PICK(maker, usual));
    }
    put_space(maker);
}

static void put_array(struct maker *maker)
{
    size_t count = one_in(maker, 16) ? 0 : 1 + below(maker, one_in(maker, 8) ? 120 : 10);
    put(maker, "[");
    for (size_t i = 0; i < count; i++) {
        put(maker, i == 0 ? "" : ",");
        put_item(maker);
    }
    put(maker, one_in(maker, 200) ? ",]" : "]");
}

static void put_data(struct maker *maker)
{
    static const char *const texts[] = {
        "\"AQD+/wCA/38BgA==\"",
        "\"AADAPwAAwH8AAACAmplBQQ==\"",
        "\"\"",
        "\"AAA=\"",
        "\"AAAA\"",
        "\"AAAAAA==\"",
        "\"AAAA-A==\"",
        "\"A\"",
        "\"AA\\/A\"",
        "\"AA\xc3\xa9\"",
        "\"AA\nA\"",
        "\"AA\x7f=\"",
        "\"AA[]{},:A\"",
        "\"AA\\\"A\"",
        "5",
        "null",
        "\"AA=A\"",
        "\"\\u0041AA=\"",
        "[1,2]",
    };
    put(maker, one_in(maker, 2) ? PICK(maker, texts) : texts[below(maker, 2)]);
}

static void put_value(struct maker *maker)
{
    static const char *const values[] = {
        "1",
        "\"x\"",
        "null",
        "{}",
        "[]",
        "{\"samples\":[1,2,3],\"data\":\"AAAA\"}",
        "[{\"samples\":[1,2]}]",
        "\"\\\"samples\\\":[1,2]\"",
        "\"\\\\\"",
        "\"\xe2\x82\x82\"",
        "{\"channels\":[{\"samples\":[1,2]}]}",
        "[[[],[1,2]],{\"a\":[\"]\",\"}\"]}]",
        "1.5e3",
        "true",
        "\"\\u00e9\"",
    };
    put(maker, PICK(maker, values));
}

static void put_name(struct maker *maker, const char *name)
{
    put_space(maker);
    put(maker, "\"");
    put(maker, name);
    put(maker, "\"");
    put_space(maker);
    put(maker, one_in(maker, 250) ? " " : ":");
    put_space(maker);
}

static void put_member(struct maker *maker)
{
    static const char *const others[] = {"note",     "Samples", "s\\u0061mples", "dat\\u0061",
                                         "samples ", "",        "data\\n",       "\xc3\xa9",
                                         "channels", "encoding"};
    put(maker, ",");
    switch (below(maker, 8)) {
    default:
        put_name(maker, "samples");
        put_array(maker);
        break;
    case 4:
        put_name(maker, one_in(maker, 2) ? "encoding" : "scale");
        put(maker, one_in(maker, 2) ? "\"float32\"" : "0.5");
        break;
    case 5:
        put(maker, "\"encoding\":\"int16\",\"scale\":1,");
        put_name(maker, "data");
        put_data(maker);
        break;
    case 6:
        put(maker, "\"encoding\":\"float32\",");
        put_name(maker, "data");
        put_data(maker);
        break;
    case 7:
        put_name(maker, PICK(maker, others));
        if (one_in(maker, 2)) {
            put_array(maker);
        } else {
            put_value(maker);
        }
        break;
    }
}

static void put_channel(struct maker *maker, size_t index)
{
    static const char *const signals[] = {"pves", "pabd", "pdet", "pura"};
    char head[80];
    if (one_in(maker, 24)) {
        put_value(maker);
        return;
    }
    (void)snprintf(head, sizeof head, "{\"signal\":\"%s\",\"unit\":\"kPa\",\"rate_hz\":10",
                   signals[index % 4]);
    put(maker, head);
    put_member(maker);
    if (one_in(maker, 6)) {
        put_member(maker);
    }
    put_space(maker);
    put(maker, "}");
}

static void put_channels(struct maker *maker)
{
    size_t count = one_in(maker, 30) ? 30 + below(maker, 5) : 1 + below(maker, 4);
    put_name(maker, one_in(maker, 30) ? "ch\\u0061nnels" : "channels");
    put(maker, "[");
    for (size_t i = 0; i < count; i++) {
        put(maker, i == 0 ? "" : ",");
        put_space(maker);
        put_channel(maker, i);
    }
    put(maker, "]");
}

/* One byte lost, doubled or replaced, or the end lost. */
static void damage(struct maker *maker)
{
    size_t at = (next(maker) * 256u + next(maker)) % (maker->length == 0 ? 1 : maker->length);
    char *from = maker->out + at;
    if (maker->length == 0) {
        return;
    }
    switch (below(maker, 4)) {
    case 0:
        memmove(from, from + 1, maker->length - at - 1);
        maker->length--;
        break;
    case 1:
        if (maker->length < SCAN_TEXT_MAX) {
            memmove(from + 1, from, maker->length - at);
            maker->length++;
        }
        break;
    case 2:
        *from = (char)next(maker);
        break;
    default:
        maker->length = at;
        break;
    }
}

size_t scan_text_make(const uint8_t *bytes, size_t count, char *out)
{
    struct maker maker = {bytes, count, out, 0};
    bool is_damaged = one_in(&maker, 5);
    put_space(&maker);
    put(&maker, "{");
    if (one_in(&maker, 2)) {
        put_name(&maker, "other");
        put_value(&maker);
        put(&maker, ",");
    }
    put_channels(&maker);
    if (one_in(&maker, 2)) {
        put(&maker, ",");
        put_name(&maker, one_in(&maker, 8) ? "channels" : "events");
        put_value(&maker);
    }
    put(&maker, "}");
    if (one_in(&maker, 16)) {
        put_space(&maker);
        put_value(&maker);
    }
    if (is_damaged) {
        damage(&maker);
    }
    return maker.length;
}
