#include "water/median.h"

#include <assert.h>

static void swap(double *a, double *b)
{
    double t = *a;
    *a = *b;
    *b = t;
}

static double middle_of_three(double a, double b, double c)
{
    double lo = a < b ? a : b, hi = a < b ? b : a;
    return c < lo ? lo : c > hi ? hi : c;
}

/* Hoare's selection with a median-of-three pivot: afterwards x[k] is in its sorted place. */
static void select_at(double *x, size_t n, size_t k)
{
    size_t lo = 0, hi = n - 1;
    while (lo < hi) {
        double pivot = middle_of_three(x[lo], x[lo + (hi - lo) / 2], x[hi]);
        size_t i = lo, j = hi;
        for (;;) {
            while (x[i] < pivot)
                i++;
            while (x[j] > pivot)
                j--;
            if (i >= j)
                break;
            swap(&x[i++], &x[j--]);
        }
        size_t cut = x[j] > pivot ? j - 1 : j;
        if (k <= cut)
            hi = cut;
        else
            lo = cut + 1;
    }
}

double median_of(double *x, size_t n)
{
    assert(n > 0);
    size_t k = n / 2;
    select_at(x, n, k);
    if (n % 2 == 1)
        return x[k];
    double below = x[0];
    for (size_t i = 1; i < k; i++)
        below = x[i] > below ? x[i] : below;
    return below + (x[k] - below) / 2.0;
}
