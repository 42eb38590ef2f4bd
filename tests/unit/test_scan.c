#include "config_text.h"

#include <sys/stat.h>

#include "config/fault.h"
#include "config/scan.h"

static void whole_numbers_beyond_32_bits_are_refused_not_cut(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE TANK "x = 4294967297;\n", 3, "4294967297 is too large" },
        { SITE TANK "\nx = (1, 99999999999999999999999);\n", 4, "too large" },
        { SITE TANK "x = 2147483648;\n", 3, "too large" },
    };
    EXPECT_FAULTS(cases);
    expect_fault(SITE TANK "x = 2147483647;\n", 3, "unknown key");
    expect_fault(SITE TANK "x = 4294967297.0;\n", 3, "unknown key");
    expect_fault(SITE TANK "x = 1e+20;\n", 3, "unknown key");
    expect_fault(SITE TANK "x99999999999999 = 1;\n", 3, "unknown key");
}

static void comments_and_texts_are_not_looked_into(void **state)
{
    (void)state;
    expect_sound("# 99999999999 @include \"x\" \"\n// \" 99999999999\n/* \" 99999999999\n */" SITE
                 "tanks = ( { id = \"a1\"; volume_l = 3; name = \"99999999999 \\\" # /* \"; } );\n");
    assert_string_equal(site->tanks[0].name, "99999999999 \" # /* ");
}

static void what_has_no_end_is_told_where_it_begins(void **state)
{
    (void)state;
    expect_fault(SITE "x = \"abc;\n\n\n", 2, "closing \"");
    expect_fault(SITE TANK "/* abc\n\n", 3, "*/ is missing");
    expect_fault(SITE TANK "x = \"abc\\", 3, "closing \"");
}

static void only_regular_files_below_are_included(void **state)
{
    (void)state;
    char path[128];
    (void)snprintf(path, sizeof path, "%s/dir", folder);
    assert_int_equal(mkdir(path, 0700), 0);
    expect_fault(SITE TANK "@include \"dir\"\n", 3, "not a regular file");
    assert_int_equal(rmdir(path), 0);
    expect_fault(SITE TANK "@include \"nothere.conf\"\n", 3, "cannot read \"nothere.conf\"");
    expect_fault(SITE TANK "@include \"/etc/hostname\"\n", 3, "without a leading /");
    expect_fault(SITE TANK "@include nothere\n", 3, "write it as @include");
    expect_fault(SITE TANK "@include \"t.conf\"\n", 3, "includes go deeper");
}

static void a_binary_file_is_refused(void **state)
{
    (void)state;
    char path[128];
    write_file("b.conf", "a = 1;\0b = 2;\n", 14);
    (void)snprintf(path, sizeof path, "%s/b.conf", folder);
    fault_init(&faults, path);
    assert_int_equal(scan_check(path, folder, &faults), STATUS_IO);
    assert_non_null(strstr(faults.items[0].text, "not a text file"));
    remove_file("b.conf");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_numbers_beyond_32_bits_are_refused_not_cut),
        cmocka_unit_test(comments_and_texts_are_not_looked_into),
        cmocka_unit_test(what_has_no_end_is_told_where_it_begins),
        cmocka_unit_test(only_regular_files_below_are_included),
        cmocka_unit_test(a_binary_file_is_refused),
    };
    RUN(tests);
}
