/* Configurations written by the tests themselves, and the faults that they must or must not have. */
#ifndef LENTIC_TESTS_CONFIG_TEXT_H
#define LENTIC_TESTS_CONFIG_TEXT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <cmocka.h>

#include "config/load.h"

static struct config_faults faults;
static struct site *site;
static char folder[] = "/tmp/lentic-config-XXXXXX";

#define SITE "site = { id = \"mill\"; };\n"
#define TANK "tanks = ( { id = \"a1\"; volume_l = 30.0; } );\n"

static inline int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

static inline int drop_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

static inline void write_file(const char *name, const char *text, size_t n)
{
    char path[128];
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_int_equal(fwrite(text, 1, n, f), n);
    assert_int_equal(fclose(f), 0);
}

static inline void remove_file(const char *name)
{
    char path[128];
    (void)snprintf(path, sizeof path, "%s/%s", folder, name);
    assert_int_equal(unlink(path), 0);
}

/* Loads the text; the site of the last text is gone with it. */
static inline enum status load_text(const char *text)
{
    char path[128];
    site_free(site);
    write_file("t.conf", text, strlen(text));
    (void)snprintf(path, sizeof path, "%s/t.conf", folder);
    enum status st = config_load(path, &site, &faults);
    remove_file("t.conf");
    return st;
}

static inline void show_faults(void)
{
    for (int i = 0; i < faults.count; i++)
        print_message("line %d: %s\n", faults.items[i].line, faults.items[i].text);
}

static inline void expect_sound(const char *text)
{
    enum status st = load_text(text);
    if (st != STATUS_OK)
        show_faults();
    assert_int_equal(st, STATUS_OK);
    assert_non_null(site);
    assert_int_equal(faults.errors, 0);
}

/* Whether a fault at that line holds the words. */
static inline bool told(int line, const char *words)
{
    for (int i = 0; i < faults.count; i++)
        if (faults.items[i].line == line && strstr(faults.items[i].text, words) != NULL)
            return true;
    return false;
}

/* Exactly one fault, at that line, with these words. */
static inline void expect_fault(const char *text, int line, const char *words)
{
    enum status st = load_text(text);
    if (st == STATUS_OK || faults.errors != 1 || !told(line, words)) {
        print_message("wanted line %d: %s\nin %s", line, words, text);
        show_faults();
    }
    assert_int_not_equal(st, STATUS_OK);
    assert_null(site);
    assert_int_equal(faults.errors, 1);
    assert_true(told(line, words));
}

static inline void expect_warning(const char *text, int line, const char *words)
{
    expect_sound(text);
    if (faults.warnings != 1 || !told(line, words))
        show_faults();
    assert_int_equal(faults.warnings, 1);
    assert_true(told(line, words));
}

struct fault_case {
    const char *text;
    int line;
    const char *words;
};

#define EXPECT_FAULTS(cases)                                                                                 \
    for (size_t i = 0; i < sizeof(cases) / sizeof *(cases); i++)                                             \
    expect_fault((cases)[i].text, (cases)[i].line, (cases)[i].words)

#define RUN(tests)                                                                                           \
    int failed = cmocka_run_group_tests(tests, make_folder, drop_folder);                                    \
    site_free(site);                                                                                         \
    return failed

#endif
