#include "support/flip.h"

#include "support/assert_close.h"

double flip_between(flip_question *question, double from, double to)
{
    const bool at_from = question(from);

    assert_int_equal(question(to), !at_from);
    for (int i = 0; i < 11; i++) {
        const double middle = 0.5 * (from + to);

        if (question(middle) == at_from) {
            from = middle;
        } else {
            to = middle;
        }
    }
    return 0.5 * (from + to);
}
