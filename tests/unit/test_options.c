#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "near.h"

#include "cli/options.h"

struct given {
    bool json;
    const char *conf;
    double speed;
    long long seed;
    double span_s;
    struct option_list faults;
    const char *operands[16];
    int operand_count;
    struct why why;
};

static enum status parse(struct given *g, const char *takes, int argc, char **argv)
{
    const struct option items[] = {
        { "json", NULL, "as JSON", OPTION_FLAG, &g->json, 0, 0 },
        { "conf", "FILE", "the configuration", OPTION_TEXT, &g->conf, 0, 0 },
        { "speed", "X", "times life", OPTION_NUMBER, &g->speed, 0.1, 1000 },
        { "seed", "N", "of the dice", OPTION_WHOLE, &g->seed, 0, 0 },
        { "for", "TIME", "how long", OPTION_SPAN, &g->span_s, 0, 86400 },
        { "fault", "F", "repeatable", OPTION_LIST, &g->faults, 0, 0 },
    };
    const struct options o = { "try", takes, "tries", items, sizeof items / sizeof items[0], NULL };
    return options_parse(&o, argc, argv, g->operands, &g->operand_count, &g->why);
}

#define PARSE(g, takes, ...)                                                                                 \
    parse(g, takes, (int)(sizeof((char *[]){ __VA_ARGS__ }) / sizeof(char *)), (char *[]){ __VA_ARGS__ })

static void every_kind_is_read(void **state)
{
    (void)state;
    struct given g = { 0 };
    assert_int_equal(PARSE(&g, "TANK", "try", "--json", "--conf", "a.conf", "--speed=2.5", "--seed", "42",
                           "--for", "6h", "--fault", "x", "--fault=y", "b1", "-", "--", "--json"),
                     STATUS_OK);
    assert_true(g.json);
    assert_string_equal(g.conf, "a.conf");
    assert_near(g.speed, 2.5, 0);
    assert_int_equal(g.seed, 42);
    assert_near(g.span_s, 21600, 0);
    assert_int_equal(g.faults.count, 2);
    assert_string_equal(g.faults.items[1], "y");
    assert_int_equal(g.operand_count, 3);
    assert_string_equal(g.operands[0], "b1");
    assert_string_equal(g.operands[1], "-");
    assert_string_equal(g.operands[2], "--json");
}

static void defaults_stay(void **state)
{
    (void)state;
    struct given g = { .speed = 7, .conf = "usual" };
    assert_int_equal(PARSE(&g, NULL, "try"), STATUS_OK);
    assert_near(g.speed, 7, 0);
    assert_string_equal(g.conf, "usual");
}

static void refused(struct given *g, enum status st, const char *sentence)
{
    assert_int_equal(st, STATUS_INVALID);
    if (strstr(g->why.text, sentence) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", g->why.text, sentence);
}

static void faults_are_named(void **state)
{
    (void)state;
    struct given g = { 0 };
    refused(&g, PARSE(&g, NULL, "try", "--sped", "3"), "did you mean --speed?");
    refused(&g, PARSE(&g, NULL, "try", "--hlep"), "did you mean --help?");
    refused(&g, PARSE(&g, NULL, "try", "--qqqqqq"), "--help lists them");
    refused(&g, PARSE(&g, NULL, "try", "--speed"), "--speed needs a value: X");
    refused(&g, PARSE(&g, NULL, "try", "--speed", "fast"), "--speed takes a number, not \"fast\"");
    refused(&g, PARSE(&g, NULL, "try", "--speed", "0"), "out of range: 0.1 to 1000");
    refused(&g, PARSE(&g, NULL, "try", "--seed", "1.5"), "--seed takes a whole number");
    refused(&g, PARSE(&g, NULL, "try", "--for", "2x"), "--for takes a time");
    refused(&g, PARSE(&g, NULL, "try", "--for", "2d"), "0 to 86400 s");
    refused(&g, PARSE(&g, NULL, "try", "--json=yes"), "--json takes no value");
    refused(&g, PARSE(&g, NULL, "try", "-j"), "two dashes");
    refused(&g, PARSE(&g, NULL, "try", "b1"), "nothing is expected here");
    assert_false(g.json);
}

static void help_is_told_apart(void **state)
{
    (void)state;
    struct given g = { 0 };
    assert_int_equal(PARSE(&g, NULL, "try", "--help"), STATUS_NONE);
    assert_int_equal(PARSE(&g, NULL, "try", "-h"), STATUS_NONE);
}

static void too_many_of_a_list(void **state)
{
    (void)state;
    char *argv[1 + 2 * (OPTION_LIST_MAX + 1)] = { "try" };
    int argc = 1;
    for (int i = 0; i <= OPTION_LIST_MAX; i++) {
        argv[argc++] = "--fault";
        argv[argc++] = "x";
    }
    struct given g = { 0 };
    refused(&g, parse(&g, NULL, argc, argv), "more than 64 times");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_is_read), cmocka_unit_test(defaults_stay),
        cmocka_unit_test(faults_are_named),   cmocka_unit_test(help_is_told_apart),
        cmocka_unit_test(too_many_of_a_list),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
