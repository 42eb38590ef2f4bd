#include "model/reading.h"

static const char *const test_names[TEST_COUNT] = {
    [TEST_GAP] = "gap",   [TEST_SYNTAX] = "syntax", [TEST_GROSS] = "gross",           [TEST_SPIKE] = "spike",
    [TEST_RATE] = "rate", [TEST_FLAT] = "flat",     [TEST_ATTENUATED] = "attenuated", [TEST_TWIN] = "twin",
};

static const char *const basis_names[TIME_BASIS_COUNT] = {
    [TIME_OWN] = "own",       [TIME_RECEIVED] = "received", [TIME_NOT_ZONED] = "not-zoned",
    [TIME_FUTURE] = "future", [TIME_OLD] = "old",           [TIME_UNTRUSTED] = "untrusted",
};

const char *gate_test_name(enum gate_test test)
{
    return test_names[test];
}

const char *time_basis_name(enum time_basis basis)
{
    return basis_names[basis];
}

enum flag verdict_get(verdict_t v, enum gate_test test)
{
    return (enum flag)((v >> (4 * (unsigned)test)) & 15u);
}

verdict_t verdict_set(verdict_t v, enum gate_test test, enum flag flag)
{
    unsigned shift = 4 * (unsigned)test;
    return (v & ~(15u << shift)) | ((verdict_t)flag << shift);
}

enum flag verdict_aggregate(verdict_t v, bool missing)
{
    static const enum gate_test counted[] = { TEST_SYNTAX, TEST_GROSS, TEST_SPIKE,
                                              TEST_RATE,   TEST_FLAT,  TEST_ATTENUATED };
    static const enum flag order[] = { FLAG_FAIL, FLAG_SUSPECT, FLAG_GOOD, FLAG_NOT_EVALUATED };
    if (missing)
        return FLAG_MISSING;
    for (unsigned o = 0; o < sizeof order / sizeof *order; o++)
        for (unsigned i = 0; i < sizeof counted / sizeof *counted; i++) {
            /* A text that parsed says nothing good about the value. */
            if (counted[i] == TEST_SYNTAX && order[o] != FLAG_FAIL)
                continue;
            if (verdict_get(v, counted[i]) == order[o])
                return order[o];
        }
    return FLAG_NOT_EVALUATED;
}

bool verdict_usable_for_limits(verdict_t v, bool missing)
{
    return !missing && verdict_get(v, TEST_SYNTAX) != FLAG_FAIL && verdict_get(v, TEST_GROSS) != FLAG_FAIL &&
           verdict_get(v, TEST_SPIKE) != FLAG_FAIL;
}
