/* Alerts in sentences: what is said in which state, and in what order. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "show/notices.h"

#define NOON INT64_C(1772366400000)

static char buf[8192];

static const char *clock_of_test(utc_t t, char *into, size_t cap)
{
    snprintf(into, cap, "+%d min", (int)((t.ms - NOON) / MS_PER_MIN));
    return into;
}

static struct notice notice(const char *ref, const char *state, enum priority priority)
{
    struct notice n = { .priority = priority,
                        .place = "tank/a1",
                        .title = "heater not heating",
                        .cause = "heater not heating",
                        .evidence = "21.2 °C, falling 0.31 °C/h",
                        .action = "Check plug and switch.",
                        .consequence = "The tank cools.",
                        .raised = { NOON - 90 * MS_PER_MIN },
                        .due = { NOON + 160 * MS_PER_MIN },
                        .until = UTC_NONE };
    snprintf(n.ref, sizeof n.ref, "%s", ref);
    snprintf(n.state, sizeof n.state, "%s", state);
    return n;
}

static const char *said(const struct notice *n)
{
    struct text out = text_over(buf, sizeof buf);
    struct notices_look look = { .columns = 200, .now = { NOON }, .clock = clock_of_test };
    notice_put(&out, n, look);
    return buf;
}

static void an_active_one_says_it_all(void **state)
{
    struct notice n = notice("tank/a1/heater-dead", "UNACK", PRIORITY_HIGH);
    (void)state;
    assert_string_equal(said(&n), "HIGH tank/a1: heater not heating\n"
                                  "  Since +-90 min, 1 h 30 min; not acknowledged.\n"
                                  "  Seen: 21.2 °C, falling 0.31 °C/h\n"
                                  "  Time left: about 2 h 40 min, until +160 min\n"
                                  "  Do now: Check plug and switch.\n"
                                  "  If nothing is done: The tank cools.\n"
                                  "  lentic ack tank/a1/heater-dead\n");
    strcpy(n.cause, "breaker");
    n.due.ms = NOON;
    assert_non_null(strstr(said(&n), "Likely cause: breaker\n  Time left: none\n"));
    n.evidence[0] = '\0';
    strcpy(n.number, "21.2 °C, limit 20 °C");
    assert_non_null(strstr(said(&n), "Seen: 21.2 °C, limit 20 °C\n"));
    n.chattering = true;
    assert_non_null(strstr(said(&n), "comes and goes too often, quiet until it is calm."));
}

static void put_aside_asks_for_nothing(void **state)
{
    struct notice n = notice("tank/a1/heater-dead", "SHLVD", PRIORITY_LOW);
    (void)state;
    n.until.ms = NOON + 30 * MS_PER_MIN;
    strcpy(n.who, "mara");
    strcpy(n.why, "known");
    assert_non_null(strstr(said(&n), "put aside until +30 min, by mara (known).\n"));
    assert_null(strstr(buf, "Do"));
    assert_null(strstr(buf, "Time left"));
    assert_non_null(strstr(buf, "lentic unshelve tank/a1/heater-dead\n"));
    n = notice("tank/a1/heater-dead", "OOSRV", PRIORITY_LOW);
    assert_non_null(strstr(said(&n), "out of service until further notice.\n"));
    assert_non_null(strstr(buf, "lentic back "));
}

static void a_follower_names_its_leader(void **state)
{
    struct notice n = notice("tank/a1/temp-low", "UNACK", PRIORITY_MEDIUM);
    (void)state;
    strcpy(n.leader, "tank/a1/heater-dead");
    assert_non_null(strstr(said(&n), "Comes with: tank/a1/heater-dead\n"));
    assert_null(strstr(buf, "Do: "));
}

static void what_is_over_asks_for_no_more_than_a_look(void **state)
{
    struct notice n = notice("tank/a1/temp-low", "RTNUN", PRIORITY_HIGH);
    (void)state;
    assert_non_null(strstr(said(&n), "over, not acknowledged."));
    assert_null(strstr(buf, "Do now"));
    assert_non_null(strstr(buf, "lentic ack tank/a1/temp-low\n"));
    n = notice("tank/a1/leak", "LATUN", PRIORITY_HIGH); /* water may still stand there */
    assert_non_null(strstr(said(&n), "Do now"));
}

static void latched_ones_wait_for_their_reset(void **state)
{
    struct notice n = notice("tank/a1/leak", "LATAK", PRIORITY_HIGH);
    (void)state;
    assert_non_null(strstr(said(&n), "over, waits to be reset."));
    assert_non_null(strstr(buf, "lentic reset tank/a1/leak\n"));
    assert_null(strstr(buf, "If nothing is done"));
}

static void words_of_others_do_not_drive_the_terminal(void **state)
{
    struct notice n = notice("tank/a1/leak", "UNACK", PRIORITY_HIGH);
    (void)state;
    strcpy(n.who, "\x1b[31mx");
    strcpy(n.title, "\x1b]0;y");
    assert_null(strchr(said(&n), '\x1b'));
}

static void most_urgent_first(void **state)
{
    struct notice n[] = { notice("e", "SHLVD", PRIORITY_HIGH), notice("d", "RTNUN", PRIORITY_HIGH),
                          notice("c", "UNACK", PRIORITY_LOW),  notice("b", "ACKED", PRIORITY_HIGH),
                          notice("a", "UNACK", PRIORITY_HIGH), notice("0", "UNACK", PRIORITY_HIGH) };
    char order[16] = "";
    (void)state;
    n[5].raised.ms += 1;
    notices_sort(n, 6);
    for (int i = 0; i < 6; i++)
        strcat(order, n[i].ref);
    assert_string_equal(order, "a0bcde");
    assert_true(notice_is_active(&n[0]) && !notice_is_active(&n[4]));
    assert_true(notice_is_aside(&n[5]) && !notice_is_aside(&n[4]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_active_one_says_it_all),
        cmocka_unit_test(put_aside_asks_for_nothing),
        cmocka_unit_test(a_follower_names_its_leader),
        cmocka_unit_test(what_is_over_asks_for_no_more_than_a_look),
        cmocka_unit_test(latched_ones_wait_for_their_reset),
        cmocka_unit_test(words_of_others_do_not_drive_the_terminal),
        cmocka_unit_test(most_urgent_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
