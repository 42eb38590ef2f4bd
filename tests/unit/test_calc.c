/* The command as its user meets it: arguments in, lines and exit code out. Numbers: by hand from the
 * definitions, or from the tables that the tests of the water layer cite. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "cli/calc.h"

static char out_text[32768], err_text[4096];

static void slurp(FILE *f, char *into, size_t cap)
{
    rewind(f);
    size_t n = fread(into, 1, cap - 1, f);
    into[n] = '\0';
    (void)fclose(f);
}

/* Runs "calc" with the words of line; csv is its standard input. */
static int run(const char *line, const char *csv)
{
    static char words[1024];
    char *argv[32] = { "calc" };
    int argc = 1;
    snprintf(words, sizeof words, "%s", line);
    for (char *w = strtok(words, " "); w != NULL; w = strtok(NULL, " "))
        argv[argc++] = w;
    FILE *in = tmpfile(), *out = tmpfile(), *err = tmpfile();
    assert_true(in != NULL && out != NULL && err != NULL);
    fputs(csv, in);
    rewind(in);
    int code = calc_run(argc, argv, in, out, err);
    (void)fclose(in);
    slurp(out, out_text, sizeof out_text);
    slurp(err, err_text, sizeof err_text);
    return code;
}

static double member(const char *key)
{
    char wanted[64];
    snprintf(wanted, sizeof wanted, "\"%s\":", key);
    const char *at = strstr(out_text, wanted);
    if (at == NULL)
        fail_msg("no %s in %s", key, out_text);
    return strtod(at + strlen(wanted), NULL);
}

static void gives(const char *line, const char *key, double want, double tolerance)
{
    char json[1024];
    snprintf(json, sizeof json, "%s --json", line);
    if (run(json, "") != 0)
        fail_msg("%s: %s", line, err_text);
    double got = member(key);
    if (!(fabs(got - want) <= tolerance))
        fail_msg("%s: %s is %.12g, want %.12g", line, key, got, want);
}

static void refuses(const char *line, int code, const char *word)
{
    int got = run(line, "");
    if (got != code)
        fail_msg("%s: exit %d, want %d", line, got, code);
    if (strstr(err_text, word) == NULL)
        fail_msg("%s: \"%s\" does not say %s", line, err_text, word);
    assert_string_equal(out_text, "");
}

static void every_formula_answers(void **state)
{
    (void)state;
    gives("ec25 ec=300 temp=25 method=linear", "ec25", 300, 1e-9);
    gives("ec25 ec=300 temp=20 method=natural", "factor", 1.116, 0.002);
    gives("ec25 ec=300 temp=20 alpha=0.02", "factor", 1 / 0.9, 1e-9);
    gives("co2 ph=8.4 kh=5 temp=25 ec=250", "co2", 0.6, 0.1);
    gives("co2 ph=7 kh=5 temp=25 ec=250", "hco3", 5 * 0.356652 * 61.017, 0.5);
    gives("calcite ph=8 kh=5 ca=5 temp=24 ec=300", "si", 0.17, 0.1);
    gives("ammonia ph=8 temp=25 tan=0.5", "fraction", 0.0538, 0.0003);
    gives("ammonia ph=8 temp=25 tan=0.5", "nh3", 0.0269, 0.0002);
    gives("oxygen temp=25", "saturation", 8.263, 0.005);
    gives("oxygen temp=25 altitude=1000", "pressure", 898.7, 0.1);
    gives("oxygen temp=25 do=4.1315", "percent", 50, 0.05);
    gives("slope temp=25", "mv_per_ph", 59.159, 0.001);
    gives("ph mv=0 temp=24 cal=0@7", "ph", 7, 1e-9);
    gives("ph mv=59.159 temp=25 cal=-6@7 cal=171.48@4", "offset_mv", -6, 1e-6);
    gives("ph mv=0 temp=24 cal=177.5@4.01 cal=0@7 cal=-176@10.01 cal_temp=25", "residual", 0.7, 0.7);
    gives("salt name=KHCO3 g_per_l=0.5", "kh", 500 / 100.115 / 0.356652, 0.02);
    gives("ions k=10 cl=10", "ec25", 1412, 15);
    gives("ions ca=1 cl=2", "gh", 1 / 0.178326, 1e-5);
    gives("dose volume=20 gh0=1 kh0=0.5 gh=6 kh=2 a=30/15 b=38/0", "grams_b", 40 / 38.0, 1e-9);
    gives("dose volume=20 gh0=0 kh0=0 gh=0 kh=1 a=KHCO3 b=gypsum", "grams_a", 20 * 0.356652 * 0.100114,
          0.001);
    gives("dose volume=20 gh0=0 kh0=0 gh=6 kh=2 a=30/15 b=38/0 c=0/28", "grams_c", 0, 100);
    gives("fraction c0=400 ct=300 cn=100", "fraction", 1 / 3.0, 1e-12);
    gives("repeat c0=400 cn=100 f=0.25 n=2", "c", 268.75, 1e-9);
    gives("changes c0=400 ct=200 cn=100 fmax=0.25", "count", 4, 0);
    gives("stages c0=400 ct=200 dmax=50", "count", 4, 0);
    gives("stages c0=200 ct=200 dmax=50", "count", 0, 0);
    gives("topoff c0=200 c=220 volume=22", "litres", 2, 1e-12);
    gives("topoff c0=200 c=220 now=20", "litres", 2, 1e-12);
    gives("blend ca=10 cb=500 ct=200 volume=49", "a", 30, 1e-9);
    gives("cool t0=26 room=18 tau=5 limit=22", "hours", 5 * log(2), 1e-9);
    gives("cool t0=26 room=18 tau=5 hours=5", "temp", 18 + 8 / exp(1), 1e-9);
}

static void units_go_in(void **state)
{
    (void)state;
    gives("ec25 ec=0.38mS/cm temp=77F method=linear", "ec25", 380, 1e-6);
    gives("oxygen temp=298.15K pressure=101.325kPa", "saturation", 8.263, 0.005);
    gives("oxygen temp=25 altitude=3280.84ft", "pressure", 898.7, 0.1);
    gives("topoff c0=0.2mS/cm c=220 now=10gal", "litres", 3.785411784, 1e-9);
    gives("repeat c0=0.4mS/cm cn=100 f=25% n=1", "c", 325, 1e-9);
    gives("cool t0=26 room=18 tau=300min hours=1d", "temp", 18 + 8 * exp(-4.8), 1e-9);
    gives("ph mv=0.0V temp=24 cal=0.003V@7", "offset_mv", 3, 1e-12);
    gives("ions k=10000umol/L cl=0.01mol/L", "ec25", 1412, 15);
    double plain, suffixed;
    assert_int_equal(run("co2 ph=7 kh=4 temp=24 ec=300 --json", ""), 0);
    plain = member("co2");
    assert_int_equal(run("co2 ph=7 kh=71.392mg/L temp=24 ec=300uS/cm --json", ""), 0);
    suffixed = member("co2");
    assert_true(fabs(plain - suffixed) < 1e-9);
    refuses("stages c0=0.4mS/cm ct=4dH dmax=50", 2, "one unit");
    refuses("ec25 ec=300 temp=5mV", 2, "voltage");
    refuses("calcite ph=8 kh=5 ca=40mg/L temp=24 ec=300", 2, "of what");
}

static void no_answer_is_exit_1(void **state)
{
    (void)state;
    refuses("fraction c0=400 ct=300 cn=400", 1, "equal to the tank");
    refuses("fraction c0=400 ct=50 cn=100", 1, "nearest is 100");
    refuses("repeat c0=400 cn=100 f=1.2 n=1", 1, "100 %");
    refuses("changes c0=400 ct=100 cn=100 fmax=0.5", 1, "ever nearer");
    refuses("dose volume=20 gh0=0 kh0=0 gh=2 kh=4 a=30/15 b=38/0", 1, "negative");
    refuses("dose volume=20 gh0=0 kh0=0 gh=2 kh=1 a=30/15 b=20/10", 1, "same ratio");
    refuses("dose volume=20 gh0=9 kh0=9 gh=2 kh=1 a=30/15 b=38/0", 1, "without any salt");
    refuses("topoff c0=220 c=200 volume=22", 1, "evaporated");
    refuses("blend ca=10 cb=500 ct=600 volume=49", 1, "nearest is 500");
    refuses("cool t0=26 room=18 tau=5 limit=17", 1, "settles at 18");
    refuses("ph mv=0 temp=25 cal=177@4.01 cal=170@4.01", 1, "same");
    refuses("ph mv=0 temp=25 cal=90@7", 1, "offset");
    refuses("co2 ph=10.5 kh=0.1 temp=24 ec=100", 1, "hydroxide");
    refuses("salt name=gypsum g_per_l=5", 1, "dissolve");
}

static void nonsense_is_exit_2(void **state)
{
    (void)state;
    refuses("trnd", 2, "\"trend\"");
    refuses("co2 hp=7 kh=4 temp=24 ec=300", 2, "\"ph\"");
    refuses("co2 ph=7 kh=4 temp=24", 2, "ec=");
    refuses("co2 ph=7 ph=8 kh=4 temp=24 ec=300", 2, "more than once");
    refuses("co2 ph=7 kh=4 temp=240 ec=300", 2, "outside");
    refuses("co2 ph=seven kh=4 temp=24 ec=300", 2, "not a number");
    refuses("co2 ph=nan kh=4 temp=24 ec=300", 2, "not a number");
    refuses("co2 ph=1e999 kh=4 temp=24 ec=300", 2, "not a number");
    refuses("co2 ph= kh=4 temp=24 ec=300", 2, "not a number");
    refuses("co2 7", 2, "key=value");
    refuses("co2 --jsn ph=7", 2, "--jsn");
    refuses("ec25 ec=300 temp=20 method=cubic", 2, "natural or linear");
    refuses("ec25 ec=300 temp=20 method=natural alpha=0.02", 2, "alpha");
    refuses("oxygen temp=20 altitude=100 pressure=1000", 2, "not both");
    refuses("oxygen temp=20 do=-1", 2, "outside");
    refuses("ammonia ph=8 temp=25 tan=-1", 2, "negative");
    refuses("topoff c0=200 c=220", 2, "either");
    refuses("topoff c0=200 c=220 now=3 volume=4", 2, "either");
    refuses("cool t0=26 room=18 tau=5", 2, "either");
    refuses("stages c0=1 ct=2 dmax=0", 2, "more than 0");
    refuses("salt name=unobtainium", 2, "nearest is");
    refuses("salt name=KCl g_per_l=-1", 2, "negative");
    refuses("ions na=-1", 2, "na");
    refuses("dose volume=20 gh0=0 kh0=0 gh=2 kh=1 a=30 b=20/10", 2, "GH/KH");
    refuses("ph mv=0 temp=25 cal=177", 2, "MV@PH");
    refuses("ph mv=0 temp=25 cal=1@4 cal=2@5 cal=3@6 cal=4@7", 2, "three times");
    refuses("", 2, "usage");
}

static void data_from_standard_input(void **state)
{
    (void)state;
    assert_int_equal(run("trend --json", "hours,value\n0,1\n1,2\n\n# note\n2,3\n3,88\n"), 0);
    assert_true(member("slope") == 15);
    assert_int_equal(run("trend --json", "0;5\r\n2;9\r\n"), 0);
    assert_true(member("slope") == 2 && member("intercept") == 5);
    assert_int_equal(run("trend", "0,1\n"), 1);
    assert_int_equal(run("trend", ""), 1);
    assert_int_equal(run("trend", "1,1\n1,2\n"), 1);
    assert_int_equal(run("trend", "0,1\n1,x\n"), 2);
    assert_non_null(strstr(err_text, "line 2"));
    assert_int_equal(run("trend", "0,1\n1\n"), 2);
    assert_int_equal(run("trend", "0,1\n1,2,3\n"), 2);
    assert_int_equal(run("trend c0=3", "0,1\n1,2\n"), 2);
    char csv[2048] = "hours,temp,room\n";
    for (int i = 0; i <= 20; i++)
        snprintf(csv + strlen(csv), sizeof csv - strlen(csv), "%d,%.6f,18\n", i, 18 + 8 * exp(-i / 6.0));
    assert_int_equal(run("fit-tau --json", csv), 0);
    assert_true(fabs(member("tau") - 6) < 1e-3);
    assert_non_null(strstr(out_text, "\"reliable\":true"));
    assert_int_equal(run("fit-tau", "0,20,20\n1,20,20\n2,20,20\n3,20,20\n4,20,20\n"), 1);
    assert_int_equal(run("fit-tau", "0,26,18\n1,25\n"), 2);
}

static void forms_of_output(void **state)
{
    (void)state;
    assert_int_equal(run("topoff c0=200 c=220 volume=22", ""), 0);
    assert_string_equal(out_text, "litres 2 L\n");
    assert_int_equal(run("--json topoff c0=200 c=220 volume=22", ""), 0);
    assert_non_null(strstr(out_text, "{\"litres\":"));
    assert_int_equal(run("--list", ""), 0);
    static const char *const names[] = { "ec25",     "co2",    "calcite", "ammonia", "oxygen",
                                         "slope",    "ph",     "salt",    "ions",    "dose",
                                         "fraction", "repeat", "changes", "stages",  "topoff",
                                         "blend",    "cool",   "fit-tau", "trend" };
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char heading[32];
        snprintf(heading, sizeof heading, "%s: ", names[i]);
        assert_non_null(strstr(out_text, heading));
    }
    assert_int_equal(run("co2 --help", ""), 0);
    assert_non_null(strstr(out_text, "source: "));
    assert_int_equal(run("--help", ""), 0);
    assert_non_null(strstr(out_text, "usage"));
    assert_int_equal(run("ions na=3 cl=1", ""), 0);
    assert_non_null(strstr(err_text, "balance"));
    assert_int_equal(run("ph mv=0 temp=25 cal=0@7 cal=165@4", ""), 0);
    assert_non_null(strstr(err_text, "ageing"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_formula_answers), cmocka_unit_test(units_go_in),
        cmocka_unit_test(no_answer_is_exit_1),   cmocka_unit_test(nonsense_is_exit_2),
        cmocka_unit_test(forms_of_output),       cmocka_unit_test(data_from_standard_input),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
