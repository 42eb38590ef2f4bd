/* Requests to entries and back; random entries must come through a request unchanged. */
#include "journal_room.h"

#include "wire/commands.h"
#include "wire/notes.h"

static struct journal_room room;
static struct command c;
static struct why why;

static int set_up(void **state)
{
    (void)state;
    journal_room_init(&room);
    return 0;
}

static enum status parse(const char *payload)
{
    why.text[0] = '\0';
    room.site.first_alert = NULL;
    return commands_parse(&room.site, "note", 4, payload, strlen(payload), &c, &why);
}

static void accept(const char *payload)
{
    if (parse(payload) != STATUS_OK)
        fail_msg("%s: %s", payload, why.text);
}

static void refuse(const char *payload, const char *with)
{
    assert_int_equal(parse(payload), STATUS_INVALID);
    if (strstr(why.text, with) == NULL)
        fail_msg("%s says \"%s\", want \"%s\"", payload, why.text, with);
}

static void every_kind(void **state)
{
    (void)state;
    accept("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{\"gh\":5,\"kh\":{\"value\":3,\"sd\":0.2}},"
           "\"quantity\":\"no3\",\"value\":10,\"sd\":2,\"kit\":\"drops-1\",\"lot\":\"77\"}");
    assert_int_equal(c.note.item_count, 3);
    assert_near(journal_item(&c.note, JOURNAL_VALUE, "gh")->sd, 0.3, 0); /* the kit's */
    assert_near(journal_item(&c.note, JOURNAL_VALUE, "kh")->sd, 0.2, 0);
    assert_near(journal_item(&c.note, JOURNAL_VALUE, "no3")->sd, 2, 0);
    assert_string_equal(c.note.lot, "77");
    accept("{\"water\":\"soft\",\"what\":\"batch\",\"litres\":60,\"salts\":{\"hard\":9,\"soda\":3},"
           "\"values\":{\"ec\":250}}");
    assert_near(journal_amount(&c.note, JOURNAL_SALT, "hard"), 9, 0);
    assert_string_equal(c.note.place, "water/soft");
    accept("{\"tank\":\"a1\",\"what\":\"livestock\",\"counts\":{\"adults\":40,\"deaths\":2}}");
    assert_int_equal(c.note.kind, JOURNAL_ANIMALS);
    assert_near(journal_amount(&c.note, JOURNAL_HEAD, "dead"), 2, 0);
    accept("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6,\"batch\":12,\"why\":\"nitrate\"}");
    assert_int_equal(c.note.batch, 12);
    assert_string_equal(c.note.text, "nitrate");
    accept("{\"place\":\"source/ro\",\"what\":\"test\",\"quantity\":\"ec\",\"value\":8}");
    accept("{\"correct\":12,\"values\":{\"gh\":5}}");
    assert_int_equal(c.note.corrects, 12);
    accept("{\"withdraw\":12,\"why\":\"wrong\\ntank\"}");
    assert_int_equal(c.note.withdraws, 12);
    assert_string_equal(c.note.text, "wrong tank");
}

static void what_is_refused(void **state)
{
    (void)state;
    refuse("{\"tank\":\"a1\",\"what\":\"tset\"}", "no kind of note");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{}}", "object of numbers");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"values\":5}", "object of numbers");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{\"gh\":\"six\"}}", "must be a number");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{\"gh\":{\"sd\":1}}}", "needs a number");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{\"gh/kh\":1}}", "knows no");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"valeus\":{\"gh\":1}}", "unknown member \"valeus\"");
    refuse("{\"tank\":\"a1\",\"what\":\"test\",\"wat er\":1}", "unknown member");
    refuse("{\"withdraw\":12}", "say \"why\"");
    refuse("{\"withdraw\":12,\"correct\":11,\"why\":\"x\"}", "not both");
    refuse("{\"withdraw\":1.5,\"why\":\"x\"}", "whole number");
    refuse("{\"correct\":0}", "must be 1");
    refuse("{\"tank\":\"a1\",\"what\":\"animals\",\"counts\":{\"adults\":-4}}", "whole number of animals");
    char long_one[400] = "{\"tank\":\"a1\",\"what\":\"test\",\"values\":{";
    for (int i = 0; i < 17; i++)
        snprintf(long_one + strlen(long_one), 32, "%s\"q%d\":1", i > 0 ? "," : "", i);
    strcat(long_one, "}}");
    refuse(long_one, "16 figures at most");
}

static double some(double most)
{
    return most * (double)(rand() % 1000) / 1000;
}

static struct journal_entry random_entry(void)
{
    static const char *const places[] = { "tank/a1", "tank/a2", "tank/b1" };
    static const enum journal_kind kinds[] = { JOURNAL_TEST,  JOURNAL_CHANGE,  JOURNAL_TOPOFF,
                                               JOURNAL_BATCH, JOURNAL_FEEDING, JOURNAL_ANIMALS,
                                               JOURNAL_REMARK };
    struct journal_entry e = journal_made(kinds[rand() % 7], places[rand() % 3]);
    e.written = UTC_NONE;
    e.at.ms -= (int64_t)(rand() % 100000) * 1000;
    if (e.kind == JOURNAL_BATCH)
        strcpy(e.place, "water/soft");
    if (e.kind == JOURNAL_BATCH || e.kind == JOURNAL_CHANGE)
        strcpy(e.water, "soft");
    if (e.kind == JOURNAL_CHANGE || e.kind == JOURNAL_TOPOFF || e.kind == JOURNAL_BATCH)
        e.litres = some(30);
    if (e.kind == JOURNAL_FEEDING)
        e.grams = some(3);
    for (int q = 0; q < Q_COUNT && e.kind == JOURNAL_TEST; q++)
        if ((q == Q_GH || rand() % 3 == 0) &&
            journal_put(&e, JOURNAL_VALUE, quantity_info((enum quantity)q)->name, some(1), some(0.5)) !=
                STATUS_OK)
            break;
    if (e.kind == JOURNAL_BATCH)
        journal_with(&e, JOURNAL_SALT, "hard", some(10));
    for (int h = 0; h < HEADS_COUNT && e.kind == JOURNAL_ANIMALS; h++)
        if (h == 0 || rand() % 2 == 0)
            journal_with(&e, JOURNAL_HEAD, journal_head_name((enum journal_head)h), rand() % 200);
    snprintf(e.text, sizeof e.text, "say \"%d\" \\ µ", rand());
    snprintf(e.who, sizeof e.who, "Ada");
    return e;
}

static void entries_come_through_a_request(void **state)
{
    char json[NOTES_ENTRY_MAX];
    (void)state;
    srand(7);
    for (int i = 0; i < 500; i++) {
        struct journal_entry e = random_entry();
        struct text out = text_over(json, sizeof json);
        notes_format_request(&e, &out);
        assert_false(out.cut);
        accept(json);
        assert_int_equal(c.note.kind, e.kind);
        assert_int_equal(c.note.at.ms, e.at.ms);
        assert_string_equal(c.note.place, e.place);
        assert_string_equal(c.note.text, e.text);
        assert_string_equal(c.note.water, e.water);
        assert_true(c.note.litres == e.litres || (isnan(c.note.litres) && isnan(e.litres)));
        assert_true(c.note.grams == e.grams || (isnan(c.note.grams) && isnan(e.grams)));
        assert_int_equal(c.note.item_count, e.item_count);
        for (int k = 0; k < e.item_count; k++) {
            const struct journal_item *item = journal_item(&c.note, e.items[k].role, e.items[k].name);
            assert_non_null(item);
            assert_true(item->amount == e.items[k].amount);
            assert_true(isnan(e.items[k].sd) || item->sd == e.items[k].sd);
        }
    }
}

static void what_is_told(void **state)
{
    char json[NOTES_ENTRY_MAX];
    struct text out = text_over(json, sizeof json);
    (void)state;
    struct journal_entry e = journal_made(JOURNAL_TEST, "tank/a1");
    e.id = 12;
    e.superseded_by = 15;
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, "gh", 6, 0.5), STATUS_OK);
    notes_format_event(&e, (utc_t){ NOON }, &out);
    assert_string_equal(
        json,
        "{\"v\":1,\"t\":\"2026-03-01T12:00:00.000Z\",\"event\":\"note\",\"id\":12,\"what\":\"test\","
        "\"at\":\"2026-03-01T12:00:00.000Z\",\"place\":\"tank/a1\",\"written\":\"2026-03-01T12:00:00.000Z\","
        "\"values\":{\"gh\":{\"value\":6,\"sd\":0.5,\"unit\":\"°dH\"}},\"words\":\"test gh 6 °dH\","
        "\"superseded_by\":15}");
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest tests[] = { TEST(every_kind), TEST(what_is_refused),
                                        TEST(entries_come_through_a_request), TEST(what_is_told) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
