/* The report as a page: what it says, that it says it of the right place, and that no text of others can
 * become markup. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <cmocka.h>

#include "show/report_page.h"
#include "site_sketch.h"

#define NOON  INT64_C(1772366400000)
#define AT(h) ((utc_t){ NOON + (h)*MS_PER_HOUR })

static char buf[1 << 20];
static struct site site;
static struct report_place places[2];
static struct tally_point points[3];
static struct report_page page;

static const char *clock_of_test(utc_t t, char *into, size_t cap)
{
    snprintf(into, cap, "+%d min", (int)((t.ms - NOON) / MS_PER_MIN));
    return into;
}

static int setup(void **state)
{
    (void)state;
    site = sketch_site(NULL, 0);
    sketch_tanks[0].name = "Bees & <b>Tigers</b>";
    for (int i = 0; i < 3; i++)
        points[i] = (struct tally_point){ AT(i), 22 + i, 21.5 + i, 22.5 + i, 10, 9 };
    memset(places, 0, sizeof places);
    places[0].place = AT_A1;
    places[0].series_count = 1;
    places[0].series[0] = (struct report_series){ .quantity = Q_TEMP,
                                                  .probed = true,
                                                  .points = points,
                                                  .count = 3,
                                                  .band = { 20.5, 26 },
                                                  .day_range = NAN,
                                                  .break_ms = 2 * MS_PER_HOUR,
                                                  .now = 24,
                                                  .now_t = AT(2) };
    tally_of(points, 3, MS_PER_HOUR, places[0].series[0].band, &places[0].series[0].tally);
    places[1].place = AT_ROOM;
    page = (struct report_page){ .site = &site,
                                 .version = "0",
                                 .from = AT(0),
                                 .to = AT(3),
                                 .made = AT(3),
                                 .zone = "CET",
                                 .sources = "Made from the store.",
                                 .clock = clock_of_test,
                                 .places = places,
                                 .place_count = 2,
                                 .whole = true };
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    arena_fini(&site.arena);
    return 0;
}

static const char *whole(void)
{
    struct text out = text_over(buf, sizeof buf);
    report_page_head(&page, &out);
    for (int i = 0; i < page.place_count; i++)
        report_page_sheet(&page, i, &out);
    report_page_foot(&page, &out);
    assert_false(out.cut);
    return buf;
}

static void has(const char *piece)
{
    if (strstr(buf, piece) == NULL)
        fail_msg("no \"%s\" in:\n%s", piece, strstr(buf, "<body"));
}

static void has_not(const char *piece)
{
    if (strstr(buf, piece) != NULL)
        fail_msg("\"%s\" in:\n%s", piece, strstr(buf, piece));
}

static int count_of(const char *piece)
{
    int n = 0;
    for (const char *at = buf; (at = strstr(at, piece)) != NULL; at += strlen(piece))
        n++;
    return n;
}

static struct notice notice(const char *place, const char *state, const char *title)
{
    struct notice n = { .priority = PRIORITY_HIGH, .raised = AT(1), .due = UTC_NONE, .until = UTC_NONE };
    snprintf(n.ref, sizeof n.ref, "%s/temp-low", place);
    snprintf(n.place, sizeof n.place, "%s", place);
    snprintf(n.state, sizeof n.state, "%s", state);
    snprintf(n.title, sizeof n.title, "%s", title);
    snprintf(n.evidence, sizeof n.evidence, "19.9 < 20.5");
    snprintf(n.cause, sizeof n.cause, "heater not heating");
    snprintf(n.action, sizeof n.action, "Check plug & switch.");
    snprintf(n.consequence, sizeof n.consequence, "It cools.");
    return n;
}

static void a_quiet_room(void **state)
{
    (void)state;
    whole();
    assert_true(strncmp(buf, "<!doctype html>", 15) == 0);
    has("<title>Millrace hatchery: report to +180 min</title>");
    has("1 tank and 1 other place: nothing stood out in this time.");
    has("<p>+0 min to +180 min (3 h)</p>");
    has("by lentic 0. Times are CET. Made from the store.");
    has("○ quiet");
    has("<p>None.</p>");
    has("<p>No alert in this time.</p>");
    has("id=\"tank-a1\"");
    has("href=\"#tank-a1\"");
    has("id=\"room\"");
    has("<td class=\"n\">21.50</td><td class=\"n\">23.00</td><td class=\"n\">24.50</td>");
    has("<td class=\"n\">100 %</td><td class=\"n\">90 %</td><td class=\"n\">30</td>");
    has("Curve of temperature at tank/a1: between 21.50 and 24.50 °C, mean 23.00; 100 % of the time in the "
        "band");
    assert_int_equal(count_of("<figure>"), 1);
}

static void it_needs_nothing_but_itself(void **state)
{
    (void)state;
    whole();
    has_not("<script");
    has_not("http:");
    has_not("https:");
    has_not("src=");
    has_not("@import");
    assert_int_equal(count_of("url("), count_of("url(#work)"));
    assert_int_equal(count_of("<table"), count_of("</table>"));
    assert_int_equal(count_of("<section"), count_of("</section>"));
    assert_int_equal(count_of("<svg"), count_of("</svg>"));
}

static void text_of_others_stays_text(void **state)
{
    struct report_note note = { .place = AT_A1, .id = 7, .t = AT(1) };
    struct report_test test = { AT_A1, AT(1), Q_GH, 5, 0.5, "<kit>", "A & B" };
    struct notice n = notice("tank/a1", "UNACK", "temperature below the band");
    (void)state;
    snprintf(note.words, sizeof note.words, "remark <script>alert(1)</script> & \"so\"");
    page.notes = &note;
    page.note_count = 1;
    page.tests = &test;
    page.test_count = 1;
    page.standing = &n;
    page.standing_count = 1;
    site.name = "Mill & <race>";
    whole();
    has("<h1>Mill &amp; &lt;race&gt;</h1>");
    has("a1 Bees &amp; &lt;b&gt;Tigers&lt;/b&gt;</a>");
    has("remark &lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;so&quot;");
    has("5.0 °dH <small>± 0.5</small></td><td>&lt;kit&gt;</td><td>A &amp; B</td>");
    has("<dd>19.9 &lt; 20.5</dd>");
    has("<dd>Check plug &amp; switch.</dd>");
    has_not("<script");
    has_not("<race>");
    has_not("<b>Tigers");
    has_not("<kit>");
}

static void what_stands_comes_first_and_in_full(void **state)
{
    struct notice standing[] = { notice("tank/a1", "UNACK", "temperature below the band"),
                                 notice("tank/a1", "ACKED", "temperature swings too far"),
                                 notice("room", "RTNUN", "room cold") };
    (void)state;
    standing[0].due = AT(5);
    snprintf(standing[1].leader, sizeof standing[1].leader, "tank/a1/temp-low");
    page.standing = standing;
    page.standing_count = 3;
    page.standing_live = true;
    whole();
    has("an alert stands in 1; 1 kept quiet.");
    has("▲ high");
    has("temperature below the band now</li>");
    has("<h3>High: <a href=\"#tank-a1\">");
    has("Since +60 min, 2 h; not acknowledged.");
    has("<dt>Likely cause</dt><dd>heater not heating</dd>");
    has("<dt>Time left</dt><dd>about 2 h, until +300 min</dd>");
    has("<dt>Do now</dt>");
    has("<dt>If nothing is done</dt><dd>It cools.</dd>");
    has("<dt>Comes with</dt><dd>tank/a1/temp-low</dd>");
    assert_int_equal(count_of("<article"), 2);
    has("<li><a href=\"#room\">room</a>: room cold, <span class=\"dim\">since +60 min; over, not "
        "acknowledged");
    has_not("As the store has it");
}

static void what_was_stands_in_its_sheet(void **state)
{
    struct report_spell spells[] = { { AT_A1, notice("tank/a1", "NORM", "temperature below the band"), Q_TEMP,
                                       AT(2), true, "19.9 < 20.5" },
                                     { AT_ROOM, notice("room", "UNACK", "room cold"), Q_TEMP, UTC_NONE, false,
                                       "" } };
    struct report_calibration calibrations[] = {
        { AT_A1, "probes/a1/ph", Q_PH, 30, { NOON - 31 * MS_PER_DAY } },
        { AT_A1, "probes/a1/ec", Q_EC, 90, UTC_NONE }
    };
    (void)state;
    page.spells = spells;
    page.spell_count = 2;
    page.calibrations = calibrations;
    page.calibration_count = 2;
    whole();
    has("something else stood out in 1");
    has("<td class=\"t\">+60 min</td><td class=\"t\">1 h</td><td>high</td><th scope=\"row\">temperature "
        "below the "
        "band</th><td>heater not heating: 19.9 &lt; 20.5</td>");
    has("<td class=\"t\">2 h, not over</td>");
    has("told with another, or kept quiet");
    has("class=\"alert\"");
    has("due since +-1440 min");
    has("never here</td><td class=\"warn\">due");
    has("As the store has it for +180 min.");
}

static void ranks(void **state)
{
    char words[512];
    struct text why = text_over(words, sizeof words);
    struct report_series *s = &places[0].series[0];
    (void)state;
    assert_int_equal(report_page_rank(&page, 0, &why), REPORT_QUIET);
    assert_string_equal(words, "");
    s->tally.in_band = 0.88;
    s->tally.swing = 3;
    s->day_range = 2;
    s->tally.good = 20;
    assert_int_equal(report_page_rank(&page, 0, &why), REPORT_STOOD_OUT);
    assert_string_equal(words,
                        "temperature out of the band 12 % of the time; temperature swings by 3.00 °C within "
                        "a day; only 66 % of the temperature readings are good");
    s->tally.n = 0;
    s->tally.in_band = s->day_range = NAN;
    why = text_over(words, sizeof words);
    assert_int_equal(report_page_rank(&page, 0, &why), REPORT_STOOD_OUT);
    assert_string_equal(words, "no reading of temperature");
}

static void long_lists_keep_the_newest(void **state)
{
    static struct report_note notes[200];
    (void)state;
    for (int i = 0; i < 200; i++) {
        notes[i] = (struct report_note){ .place = -1, .id = i + 1, .t = AT(1) };
        snprintf(notes[i].words, sizeof notes[i].words, "note %d.", i + 1);
    }
    page.notes = notes;
    page.note_count = 200;
    whole();
    has("note 200.");
    has("note 141.");
    has_not("note 140.");
    has("140 older ones are left out");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_quiet_room, setup, teardown),
        cmocka_unit_test_setup_teardown(it_needs_nothing_but_itself, setup, teardown),
        cmocka_unit_test_setup_teardown(text_of_others_stays_text, setup, teardown),
        cmocka_unit_test_setup_teardown(what_stands_comes_first_and_in_full, setup, teardown),
        cmocka_unit_test_setup_teardown(what_was_stands_in_its_sheet, setup, teardown),
        cmocka_unit_test_setup_teardown(ranks, setup, teardown),
        cmocka_unit_test_setup_teardown(long_lists_keep_the_newest, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
