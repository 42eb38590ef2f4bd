/* Doubles compared as doubles: cmocka's own comparison of numbers with a fraction works on floats. */
#ifndef LENTIC_TESTS_NEAR_H
#define LENTIC_TESTS_NEAR_H

#include <math.h>

#define assert_near(a, b, tolerance)                                                                         \
    do {                                                                                                     \
        double near_a = (a), near_b = (b);                                                                   \
        if (!(fabs(near_a - near_b) <= (tolerance)))                                                         \
            fail_msg("%s is %.12g, not %.12g", #a, near_a, near_b);                                          \
    } while (0)

static inline void near(double got, double want, double tolerance)
{
    if (!(fabs(got - want) <= tolerance))
        fail_msg("got %.12g, want %.12g within %g", got, want, tolerance);
}

#endif
