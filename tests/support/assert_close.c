#include "support/assert_close.h"

#include <math.h>

void assert_close_at(double actual, double expected, double tolerance, const char *what,
                     const char *file, int line)
{
    if (!(fabs(actual - expected) <= tolerance)) {
        print_error("%s is %.9g, expected %.9g within %.3g\n", what, actual, expected, tolerance);
        _fail(file, line);
    }
}
