#include "config_text.h"

static void the_least_is_a_site_and_a_tank(void **state)
{
    (void)state;
    expect_warning(SITE TANK, 2, "no probes");
    assert_string_equal(site->id, "mill");
    assert_string_equal(site->name, "mill");
    assert_int_equal(site->tank_count, 1);
    assert_string_equal(site->publish.base, "lentic/mill");
    assert_string_equal(site->broker.client_id, "lentic-mill");
    assert_int_equal(site->broker.port, 1883);
    (void)load_text("");
    assert_int_equal(faults.errors, 2);
    assert_true(told(0, "there is no site"));
    assert_true(told(0, "there is no tank"));
}

static void all_faults_come_in_one_run_in_the_order_of_the_file(void **state)
{
    (void)state;
    assert_int_equal(load_text("tanks = ( { id = \"a1\"; volume_l = -1.0; } );\n"
                               "stor = { };\n"
                               "broker = { port = 0; hots = \"x\"; };\n"
                               "site = { id = \"Mill\"; };\n"),
                     STATUS_INVALID);
    assert_int_equal(faults.errors, 5);
    assert_true(told(1, "volume_l must be 0.2 to 20000 L, not -1"));
    assert_true(told(2, "did you mean \"store\""));
    assert_true(told(3, "port must be 1 to 65535"));
    assert_true(told(3, "did you mean \"host\""));
    assert_true(told(4, "id \"Mill\" must be"));
    for (int i = 1; i < faults.count; i++)
        assert_true(faults.items[i - 1].line <= faults.items[i].line);
}

static void what_cannot_be_parsed_is_told_in_words(void **state)
{
    (void)state;
    static const struct fault_case cases[] = {
        { SITE SITE TANK, 2, "stands twice" },
        { "site = { id = \"a\";\n name = \"x\";\n name = \"y\"; };\n", 3, "stands twice" },
        { "a = [20,\n 24.5];\n", 2, "[20.0, 24.5] instead of [20, 24.5]" },
        { SITE "x = 20,5;\n", 2, "decimal comma" },
        { SITE "x = { b = 1 );\n", 2, "bracket" },
        { SITE "gr\xC3\xB6\xC3\x9F"
               "e = 1;\n",
          2, "cannot be read" },
    };
    EXPECT_FAULTS(cases);
}

static void deep_nesting_is_refused_not_fatal(void **state)
{
    (void)state;
    enum { DEEP = 60000 };
    char *text = calloc(1, DEEP + 16);
    memcpy(text, "a = ", 4);
    memset(text + 4, '(', DEEP);
    assert_int_not_equal(load_text(text), STATUS_OK);
    assert_int_equal(faults.errors, 1);
    free(text);
}

static void includes_name_their_own_file_and_line(void **state)
{
    (void)state;
    const char part[] = "\n\nstocks = ( { id = \"k\"; temp = [30.0, 20.0]; } );\n";
    write_file("part.conf", part, sizeof part - 1);
    expect_fault(SITE TANK "@include \"part.conf\"\n", 3, "upside down");
    assert_non_null(strstr(faults.items[0].file, "part.conf"));
    remove_file("part.conf");
}

static void a_file_that_is_not_there_is_told(void **state)
{
    (void)state;
    site_free(site);
    assert_int_equal(config_load("/nowhere/lentic.conf", &site, &faults), STATUS_IO);
    assert_null(site);
    assert_int_equal(faults.errors, 1);
    assert_string_equal(faults.items[0].file, "/nowhere/lentic.conf");
    assert_int_equal(config_load(folder, &site, &faults), STATUS_IO);
    assert_non_null(strstr(faults.items[0].text, "not a regular file"));
}

static void a_flood_of_faults_is_counted(void **state)
{
    (void)state;
    char *text = calloc(1, 20000);
    strcpy(text, SITE TANK);
    for (int i = 0; i < 400; i++)
        (void)snprintf(text + strlen(text), 40, "key%d = 1;\n", i);
    assert_int_equal(load_text(text), STATUS_INVALID);
    assert_int_equal(faults.errors, 400);
    assert_int_equal(faults.count, CONFIG_FAULTS_MAX);
    free(text);
}

static void cut_files_never_do_harm(void **state)
{
    (void)state;
    FILE *f = fopen(SOURCE_DIR "/conf/room.conf", "r");
    assert_non_null(f);
    char *text = calloc(1, 65536);
    size_t n = fread(text, 1, 65535, f);
    (void)fclose(f);
    assert_true(n > 1000);
    for (size_t cut = n - 1; cut > 0; cut = cut > 97 ? cut - 97 : 0) {
        text[cut] = '\0';
        (void)load_text(text);
        assert_true((site != NULL) == (faults.errors == 0));
    }
    free(text);
}

static void the_samples_are_sound_and_free_of_warnings(void **state)
{
    (void)state;
    static const char *const files[] = { SOURCE_DIR "/conf/lentic.conf", SOURCE_DIR "/conf/room.conf" };
    for (size_t i = 0; i < 2; i++) {
        site_free(site);
        assert_int_equal(config_load(files[i], &site, &faults), STATUS_OK);
        assert_int_equal(faults.warnings, 0);
        assert_int_equal(site->tank_count, 8);
        assert_int_equal(site->water_count, 3);
        assert_true(site->stock_count >= 10);
        for (int k = 0; k < site->stock_count; k++)
            assert_non_null(site->stocks[k].source);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_least_is_a_site_and_a_tank),
        cmocka_unit_test(all_faults_come_in_one_run_in_the_order_of_the_file),
        cmocka_unit_test(what_cannot_be_parsed_is_told_in_words),
        cmocka_unit_test(deep_nesting_is_refused_not_fatal),
        cmocka_unit_test(includes_name_their_own_file_and_line),
        cmocka_unit_test(a_file_that_is_not_there_is_told),
        cmocka_unit_test(a_flood_of_faults_is_counted),
        cmocka_unit_test(cut_files_never_do_harm),
        cmocka_unit_test(the_samples_are_sound_and_free_of_warnings),
    };
    RUN(tests);
}
