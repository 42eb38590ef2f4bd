/* Kinds of probe: written once, named by many; what stands at the probe goes before. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "config/kinds.h"
#include "config_text.h"

#define TOP "site = { id = \"x\"; };\ntanks = ( { id = \"a1\"; volume_l = 30.0; } );\n"

static void a_kind_is_taken_over(void **state)
{
    (void)state;
    expect_sound(
        TOP
        "probe_kinds = ( { id = \"cheap\"; measures = \"temp\"; unit = \"[degF]\"; every_s = 20;\n"
        "  missing = [85.0]; quality = { spike_fail = 2.0; rate_fail = 0.5; twin_fail = \"off\"; }; } );\n"
        "probes = ( { topic = \"p/{tank}\"; kind = \"cheap\"; },\n"
        "  { topic = \"q/{tank}\"; kind = \"cheap\"; every_s = 60; quality = { spike_fail = 4.0; rate_fail = "
        "\"off\"; twin_fail = 3.0; }; },\n"
        "  { topic = \"r/{tank}\"; values = ( { at = \"/t\"; kind = \"cheap\"; }, { at = \"/p\"; measures = "
        "\"ph\"; } ); } );\n");
    const struct probe_value *p = &site->entries[0].values[0], *q = &site->entries[1].values[0];
    assert_int_equal(p->quantity, Q_TEMP);
    assert_string_equal(p->unit_name, "[degF]");
    assert_true(p->every_s == 20 && p->missing_count == 1);
    assert_true(p->gate.spike_fail == 2 && p->gate.rate_fail == 0.5 && isnan(p->gate.twin_fail));
    assert_true(q->every_s == 60 && q->gate.spike_fail == 4 && isnan(q->gate.rate_fail) &&
                q->gate.twin_fail == 3);
    assert_true(site->entries[2].values[0].gate.spike_fail == 2);
    assert_int_equal(site->entries[2].values[1].quantity, Q_PH);
}

static void faults_of_kinds_are_told(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { TOP "probe_kinds = ( { measures = \"temp\"; } );\n", 3, "id" },
        { TOP "probe_kinds = ( { id = \"k\"; },\n { id = \"k\"; } );\n", 4, "stands twice" },
        { TOP "probe_kinds = ( { id = \"k\"; quality = { spike_fail = 0; }; } );\n", 3,
          "zero is not \"off\"" },
        { TOP
          "probe_kinds = ( { id = \"k\"; measures = \"ph\"; on_change = true; stale_s = 600;\n quality = { "
          "flat_fail_s = 60; }; } );\n",
          4, "a flat line cannot be judged" },
        { TOP "probe_kinds = ( { id = \"k\"; topic = \"p\"; } );\n", 3, "unknown key \"topic\"" },
        { TOP "probe_kinds = ( { id = \"cheap\"; measures = \"temp\"; } );\nprobes = ( { topic = "
              "\"p/{tank}\"; kind = "
              "\"cheep\"; measures = \"temp\"; } );\n",
          4, "did you mean \"cheap\"" },
    };
    EXPECT_FAULTS(cases);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_kind_is_taken_over),
        cmocka_unit_test(faults_of_kinds_are_told),
    };
    RUN(tests);
}
