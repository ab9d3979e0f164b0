/* The fixed shape of an EDF header, the same for reading and writing: where each field stands, what
 * its numbers mean. Private to formats/.
 *
 * Sources: Kemp et al. 1992 (EDF), Kemp and Olivan 2003 (EDF+), and the specifications that both
 * published at edfplus.info. */
#ifndef FORMATS_EDF_HEADER_H
#define FORMATS_EDF_HEADER_H

#include "base/arena.h"
#include "base/compiler.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    EDF_HEADER_PART = 256, /* bytes of the fixed part, and of each signal's */
    EDF_NUMBER_WIDTH = 8,
    EDF_LABEL_WIDTH = 16,
    EDF_SAMPLE_BYTES = 2
};

#define EDF_ANNOTATIONS_LABEL "EDF Annotations"
#define EDF_NS_PER_S          INT64_C(1000000000)

enum edf_field {
    EDF_VERSION,
    EDF_PATIENT,
    EDF_RECORDING,
    EDF_STARTDATE,
    EDF_STARTTIME,
    EDF_HEADER_BYTES,
    EDF_RESERVED,
    EDF_RECORDS,
    EDF_RECORD_DURATION,
    EDF_SIGNAL_COUNT,
    EDF_LABEL, /* from here on: one for each signal, all signals' labels first, and so on */
    EDF_TRANSDUCER,
    EDF_PHYSICAL_DIMENSION,
    EDF_PHYSICAL_MINIMUM,
    EDF_PHYSICAL_MAXIMUM,
    EDF_DIGITAL_MINIMUM,
    EDF_DIGITAL_MAXIMUM,
    EDF_PREFILTERING,
    EDF_SAMPLES_PER_RECORD,
    EDF_SIGNAL_RESERVED,
    EDF_FIELD_COUNT
};

/* A field's last name in a fault's pointer: "physical_minimum". */
const char *edf_field_name(enum edf_field field);
size_t edf_field_width(enum edf_field field);
bool edf_field_is_of_signal(enum edf_field field);

/* Its first byte in a file of `signal_count` signals; `signal` means nothing for the fixed part. */
size_t edf_field_offset(enum edf_field field, size_t signal, size_t signal_count);

/* A number as its field says it: value = digits / 10^decimals; decimals is negative for "1e5". */
struct edf_decimal {
    int64_t digits;
    int decimals;
    double value;
};

/* Reads "-12.5", ".5", "3", "1e-3"; no other character, no blank, at most 16 characters. */
MUST_CHECK bool edf_decimal_parse(const char *text, struct edf_decimal *ret_number);

/* The same for a whole number without point or exponent. */
MUST_CHECK bool edf_integer_parse(const char *text, int64_t *ret_number);

/* value = code * scale + offset */
struct edf_scaling {
    double scale;
    double offset;
};

/* scale = (pmax - pmin) / (dmax - dmin) and offset = pmin - scale * dmin, each the double nearest
 * to the exact quotient of the decimals (which one division of whole numbers gives; fields that mix
 * very large and very small numbers are computed in doubles). dmin < dmax. */
struct edf_scaling edf_scaling_of(const struct edf_decimal *pmin, const struct edf_decimal *pmax,
                                  int dmin, int dmax);

/* Samples a second, the double nearest to samples / duration. */
double edf_rate_hz(size_t samples, const struct edf_decimal *duration);

#endif
