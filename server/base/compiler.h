/* Attributes that the compilers we support understand. */
#ifndef BASE_COMPILER_H
#define BASE_COMPILER_H

#define MUST_CHECK    __attribute__((warn_unused_result))
#define RARELY_CALLED __attribute__((cold, noinline)) /* keeps its cost out of a fast caller */
#define PRINTF_LIKE(format_index, first_argument)                                                  \
    __attribute__((format(printf, format_index, first_argument)))

#endif
