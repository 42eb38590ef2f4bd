/* The heartbeat command: beats while there is progress, not else; a failure is counted and the next beat
 * comes all the same. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "app/pulse.h"

#define NOON INT64_C(1772366400000)

static char dir[] = "/tmp/test-pulse-XXXXXX";
static char script[64], got[64];

static struct now at(int64_t s)
{
    return (struct now){ { NOON + s * MS_PER_S }, { 1000000 + s * MS_PER_S }, true };
}

static void write_script(const char *body)
{
    FILE *f = fopen(script, "w");
    assert_non_null(f);
    fprintf(f, "%s\n", body);
    fclose(f);
}

static int lines(void)
{
    char line[256];
    int n = 0;
    FILE *f = fopen(got, "r");
    while (f != NULL && fgets(line, sizeof line, f) != NULL) {
        assert_non_null(strstr(line, "\"site\":\"millrace\""));
        n++;
    }
    if (f != NULL)
        fclose(f);
    return n;
}

static const char *command[] = { "/bin/sh", script, got, NULL };

static struct site site_of(void)
{
    return (struct site){
        .id = "millrace", .notify = { .heartbeat = command, .heartbeat_every_s = 60, .command_timeout_s = 5 }
    };
}

/* Real time passes until the command has ended; the clock that the pulse sees stands. */
static void end_beat(struct pulse *p, bool progress, int64_t s)
{
    for (int i = 0; i < 500 && p->beating; i++) {
        usleep(10000);
        pulse_advance(p, progress, at(s));
    }
    assert_false(p->beating);
}

static void beats_while_there_is_progress(void **state)
{
    struct site site = site_of();
    struct pulse p;
    (void)state;
    unlink(got);
    write_script("cat >>\"$1\"");
    pulse_init(&p, &site, at(0));
    pulse_advance(&p, false, at(0));
    assert_false(p.beating);
    pulse_advance(&p, true, at(10));
    assert_true(p.beating);
    end_beat(&p, true, 10);
    assert_int_equal(lines(), 1);
    pulse_advance(&p, true, at(69));
    assert_false(p.beating);
    assert_int_equal(pulse_deadline(&p).ms, at(70).mono.ms);
    pulse_advance(&p, true, at(70));
    end_beat(&p, true, 70);
    assert_int_equal(lines(), 2);
    assert_int_equal(p.failures, 0);
    pulse_fini(&p);
}

static void a_failure_is_counted(void **state)
{
    struct site site = site_of();
    struct pulse p;
    (void)state;
    write_script("exit 3");
    pulse_init(&p, &site, at(0));
    pulse_advance(&p, true, at(0));
    end_beat(&p, true, 0);
    assert_int_equal(p.failures, 1);
    write_script("cat >/dev/null");
    pulse_advance(&p, true, at(60));
    end_beat(&p, true, 60);
    assert_int_equal(p.failures, 0);
    pulse_fini(&p);
}

static void without_a_command_nothing(void **state)
{
    struct site site = site_of();
    struct pulse p;
    (void)state;
    site.notify.heartbeat = NULL;
    pulse_init(&p, &site, at(0));
    pulse_advance(&p, true, at(600));
    assert_false(p.beating);
    assert_int_equal(pulse_deadline(&p).ms, MONO_NEVER.ms);
    pulse_fini(&p);
}

static int setup(void **state)
{
    (void)state;
    if (mkdtemp(dir) == NULL)
        return -1;
    snprintf(script, sizeof script, "%s/send", dir);
    snprintf(got, sizeof got, "%s/got", dir);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    unlink(script);
    unlink(got);
    return rmdir(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(beats_while_there_is_progress),
        cmocka_unit_test(a_failure_is_counted),
        cmocka_unit_test(without_a_command_nothing),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
