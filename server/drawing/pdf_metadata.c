#include "drawing/pdf_parts.h"

#include "base/clock.h"
#include "base/utf8.h"

#include <lcms2.h>
#include <string.h>

/* Of whole seconds, since document information has no fractions and the two have to agree. */
static void format_date(int64_t at_us, char date[CLOCK_TEXT_SIZE])
{
    int64_t at_s = at_us / 1000000 - (at_us % 1000000 < 0);
    clock_format(at_s * 1000000, date);
}

const char *pdf_date(struct arena *arena, int64_t at_us)
{
    char date[CLOCK_TEXT_SIZE];
    format_date(at_us, date);
    char *out = arena_alloc(arena, sizeof date);
    size_t length = (size_t)(stpcpy(out, "D:") - out);
    for (const char *at = date; *at != '\0'; at++) {
        if (*at >= '0' && *at <= '9') {
            out[length++] = *at;
        }
    }
    out[length] = 'Z';
    return out;
}

/* XML 1.0 has no control characters, not even as references. */
static void append_xml(struct text *out, const char *words)
{
    size_t length = strlen(words);
    for (size_t at = 0; at < length;) {
        size_t size = utf8_sequence(words + at, length - at);
        char character[5] = "\xEF\xBF\xBD";
        if (size == 1 && ((unsigned char)words[at] < 0x20 || words[at] == 0x7F)) {
            character[0] = ' ';
            character[1] = '\0';
        } else if (size > 0) {
            memcpy(character, words + at, size);
            character[size] = '\0';
        }
        text_append_html(out, character);
        at += size == 0 ? 1 : size;
    }
}

/* ISO 19005-2, 6.6.2.3: what is not in the norm's own schemas has to be described in the file. */
static const char UA_SCHEMA[] =
    "<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType=\"Resource\">\n"
    "<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>\n"
    "<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>\n"
    "<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>\n"
    "<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType=\"Resource\">\n"
    "<pdfaProperty:category>internal</pdfaProperty:category>\n"
    "<pdfaProperty:description>Part of ISO 14289 that the file conforms to"
    "</pdfaProperty:description>\n"
    "<pdfaProperty:name>part</pdfaProperty:name>\n"
    "<pdfaProperty:valueType>Integer</pdfaProperty:valueType>\n"
    "</rdf:li></rdf:Seq></pdfaSchema:property>\n"
    "</rdf:li></rdf:Bag></pdfaExtension:schemas>\n";

static const char XMP_START[] =
    "<?xpacket begin=\"\xEF\xBB\xBF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n"
    "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n"
    "<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n"
    "<rdf:Description rdf:about=\"\"\n"
    " xmlns:dc=\"http://purl.org/dc/elements/1.1/\"\n"
    " xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\"\n"
    " xmlns:pdf=\"http://ns.adobe.com/pdf/1.3/\"\n"
    " xmlns:pdfaid=\"http://www.aiim.org/pdfa/ns/id/\"\n"
    " xmlns:pdfuaid=\"http://www.aiim.org/pdfua/ns/id/\"\n"
    " xmlns:pdfaExtension=\"http://www.aiim.org/pdfa/ns/extension/\"\n"
    " xmlns:pdfaSchema=\"http://www.aiim.org/pdfa/ns/schema#\"\n"
    " xmlns:pdfaProperty=\"http://www.aiim.org/pdfa/ns/property#\">\n"
    "<pdfaid:part>2</pdfaid:part>\n"
    "<pdfaid:conformance>U</pdfaid:conformance>\n"
    "<pdfuaid:part>1</pdfuaid:part>\n"
    "<dc:format>application/pdf</dc:format>\n"
    "<pdf:Producer>" PDF_PRODUCER "</pdf:Producer>\n";

static const char XMP_END[] = "</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"r\"?>";

static void append_member(struct text *out, const char *start, const char *words, const char *end)
{
    text_append(out, start);
    append_xml(out, words);
    text_append(out, end);
}

void pdf_write_xmp(const struct pdf_facts *facts, struct text *out)
{
    char date[CLOCK_TEXT_SIZE];
    format_date(facts->made_at_us, date);
    text_append(out, XMP_START);
    append_member(out, "<dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">", facts->title,
                  "</rdf:li></rdf:Alt></dc:title>\n");
    append_member(out, "<dc:creator><rdf:Seq><rdf:li>", facts->author,
                  "</rdf:li></rdf:Seq></dc:creator>\n");
    append_member(out, "<dc:language><rdf:Bag><rdf:li>", facts->language,
                  "</rdf:li></rdf:Bag></dc:language>\n");
    if (facts->subject != NULL) {
        append_member(out, "<dc:description><rdf:Alt><rdf:li xml:lang=\"x-default\">",
                      facts->subject, "</rdf:li></rdf:Alt></dc:description>\n");
    }
    append_member(out, "<xmp:CreateDate>", date, "</xmp:CreateDate>\n");
    append_member(out, "<xmp:ModifyDate>", date, "</xmp:ModifyDate>\n");
    text_append(out, UA_SCHEMA);
    text_append(out, XMP_END);
}

/* ICC.1:2004-10, 7.2.8: six numbers of 16 bits from byte 24 on. Little CMS takes the clock's. */
static void set_profile_date(unsigned char *profile)
{
    static const unsigned char date[12] = {0x07, 0xD0, 0, 1, 0, 1}; // 1 January 2000
    memcpy(profile + 24, date, sizeof date);
}

bool pdf_colour_profile(struct arena *arena, const unsigned char **ret_bytes, size_t *ret_length)
{
    enum { HEADER_SIZE = 128 };

    cmsHPROFILE profile = cmsCreate_sRGBProfile();
    if (profile == NULL) {
        return false;
    }
    cmsSetProfileVersion(profile, 4.2); // the newest that ISO 19005-2 knows
    cmsUInt32Number length = 0;
    bool good = cmsSaveProfileToMem(profile, NULL, &length) != 0 && length > HEADER_SIZE;
    if (good) {
        unsigned char *bytes = arena_alloc(arena, length);
        good = cmsSaveProfileToMem(profile, bytes, &length) != 0;
        set_profile_date(bytes);
        *ret_bytes = bytes;
        *ret_length = length;
    }
    (void)cmsCloseProfile(profile);
    return good;
}
