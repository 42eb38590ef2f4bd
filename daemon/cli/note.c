#include "cli/note.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "adapters/clock.h"
#include "base/span.h"
#include "cli/ask.h"
#include "cli/stretch.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "model/journal_check.h"
#include "wire/notes.h"

#define ID_MOST 9007199254740992.0

struct note_request {
    const char *conf;
    const char *at, *who, *why;
    long long correct, withdraw, batch;
    double since_s;
    bool list, all, json;
};

/* --- when --- */

/* "19:30": the last time the clock showed that. */
static bool time_of_day(const char *text, utc_t now, utc_t *out)
{
    time_t s = (time_t)(now.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL)
        return false;
    const char *end = strptime(text, "%H:%M", &tm);
    if (end == NULL || *end != '\0')
        return false;
    tm.tm_sec = 0;
    tm.tm_isdst = -1;
    time_t at = mktime(&tm);
    if (at > s) {
        tm.tm_mday--;
        tm.tm_isdst = -1;
        at = mktime(&tm);
    }
    *out = (utc_t){ (int64_t)at * MS_PER_S };
    return at != (time_t)-1;
}

static int read_at(const struct options *o, const char *text, utc_t *at)
{
    utc_t now = clock_now().utc;
    double ago_s;
    *at = now;
    if (text == NULL || time_of_day(text, now, at) || stretch_parse_time(text, at) == STATUS_OK)
        return OPTIONS_GO_ON;
    if (span_parse(text, &ago_s) == STATUS_OK && ago_s >= 0) {
        at->ms = now.ms - (int64_t)(ago_s * (double)MS_PER_S);
        return OPTIONS_GO_ON;
    }
    return options_fail(o, 2,
                        "--at takes 19:30 (the last one), 2h (ago), \"2026-03-01 12:00\" or RFC 3339, not "
                        "\"%.40s\"",
                        text);
}

/* --- sending --- */

static int send_one(struct talk *talk, const struct options *o, const struct journal_entry *e, bool json)
{
    char request[NOTES_ENTRY_MAX], sentence[TALK_ANSWER_MAX] = "", buf[2 * TALK_ANSWER_MAX];
    struct text out = text_over(request, sizeof request);
    notes_format_request(e, &out);
    if (out.cut)
        return options_fail(o, 2, "that is too long a note");
    int code = talk_command(talk, "note", request, sentence);
    if (json) {
        struct text answer = text_over(buf, sizeof buf);
        json_open(&answer, '{');
        json_key(&answer, "ok");
        json_bool(&answer, code == 0);
        json_key(&answer, "place");
        json_string(&answer, e->place);
        json_key(&answer, "text");
        json_string(&answer, sentence);
        json_close(&answer, '}');
        puts(buf);
    } else if (code == 0) {
        printf("%s%s%s\n", e->place, e->place[0] != '\0' ? ": " : "", sentence);
    } else {
        (void)options_fail(o, code, "%s%s%s", e->place, e->place[0] != '\0' ? ": " : "", sentence);
    }
    if (code == 3)
        (void)options_fail(o, code,
                           "if the broker has it, the service takes it when it is back: look with --list "
                           "before you note it again");
    return code;
}

/* One note for each place; the first that nobody answers ends it. */
static int send_all(const struct options *o, const struct site *site, const struct note_typed *typed,
                    bool json)
{
    struct talk talk;
    int worst = 0, count = typed->place_count > 0 ? typed->place_count : 1;
    int code = talk_open(&talk, o, site, NULL, 0, NULL, NULL);
    for (int i = 0; i < count && code == OPTIONS_GO_ON; i++) {
        struct journal_entry e = typed->entry;
        if (typed->place_count > 0)
            snprintf(e.place, sizeof e.place, "%s", site->places[typed->places[i]].text);
        int one = send_one(&talk, o, &e, json);
        worst = one > worst ? one : worst;
        if (one == 3)
            break;
    }
    talk_close(&talk);
    return code == OPTIONS_GO_ON ? worst : code;
}

/* What the service would refuse is refused here, before anything is sent. */
static int check_all(const struct options *o, const struct site *site, const struct note_typed *typed)
{
    struct why why;
    for (int i = 0; i < (typed->place_count > 0 ? typed->place_count : 1); i++) {
        struct journal_entry e = typed->entry;
        if (typed->place_count > 0)
            snprintf(e.place, sizeof e.place, "%s", site->places[typed->places[i]].text);
        if (e.corrects == 0 && journal_check(site, &e, UTC_NONE, &why) != STATUS_OK)
            return options_fail(o, 2, "%s", why.text);
    }
    if (typed->entry.corrects != 0 && typed->place_count > 1)
        return options_fail(o, 2, "a correction is of one entry, so of one place");
    return OPTIONS_GO_ON;
}

static int write_note(const struct options *o, const struct site *site, const struct note_request *r,
                      const char *const *words, int count)
{
    struct note_typed typed = { .entry.corrects = r->correct };
    struct why why;
    utc_t at;
    if (note_words(site, words, count, &typed, &why) != STATUS_OK)
        return options_fail(o, 2, "%s", why.text);
    int code = read_at(o, r->at, &at);
    if (code != OPTIONS_GO_ON)
        return code;
    typed.entry.at = r->correct != 0 && r->at == NULL ? UTC_NONE : at;
    const char *who = ask_who(r->who);
    snprintf(typed.entry.who, sizeof typed.entry.who, "%s", who != NULL ? who : "");
    if (r->why != NULL)
        snprintf(typed.entry.text, sizeof typed.entry.text, "%s", r->why);
    code = check_all(o, site, &typed);
    return code == OPTIONS_GO_ON ? send_all(o, site, &typed, r->json) : code;
}

static int withdraw(const struct options *o, const struct site *site, const struct note_request *r)
{
    struct note_typed typed = { .place_count = 0 };
    const char *who = ask_who(r->who);
    journal_clear(&typed.entry);
    typed.entry.withdraws = r->withdraw;
    if (r->why == NULL || r->why[0] == '\0')
        return options_fail(o, 2, "say why, for whoever wonders later: --why \"...\"");
    snprintf(typed.entry.text, sizeof typed.entry.text, "%s", r->why);
    snprintf(typed.entry.who, sizeof typed.entry.who, "%s", who != NULL ? who : "");
    return send_all(o, site, &typed, r->json);
}

/* --- reading --- */

static int read_back(const struct options *o, const struct site *site, const struct note_request *r,
                     const char *const *words, int count)
{
    struct store_reader *reader;
    struct why why;
    utc_t now = clock_now().utc;
    enum status st = store_reader_open(site->store.path, &reader, &why);
    if (st != STATUS_OK)
        return options_fail(o, 3, "%s", why.text);
    struct note_list_ask ask = { .options = o,
                                 .site = site,
                                 .reader = reader,
                                 .places = words,
                                 .place_count = count,
                                 .from = { now.ms - (int64_t)(r->since_s * (double)MS_PER_S) },
                                 .to = { now.ms + MS_PER_DAY },
                                 .also_void = r->all,
                                 .json = r->json };
    int code = r->batch != 0 ? note_batch(&ask, r->batch) : note_list(&ask);
    store_reader_close(reader);
    return code;
}

static int answer(const struct options *o, const struct site *site, const struct note_request *r,
                  const char *const *words, int count)
{
    if (r->list || r->batch != 0)
        return read_back(o, site, r, words, count);
    if (r->withdraw != 0 && count > 0)
        return options_fail(o, 2, "--withdraw takes only the number and --why");
    if (r->withdraw != 0)
        return withdraw(o, site, r);
    if (count == 0)
        return options_fail(o, 2, "say what to note, or --list; lentic note --help shows how");
    return write_note(o, site, r, words, count);
}

static const char about[] = "Writes into the journal: hand tests, water changes, top-offs, batches, feeding, "
                            "animals, cleaning, remarks.\n"
                            "Hand tests count as values of their tank from then on. Nothing is ever deleted.";

static const char more[] =
    "  lentic note a3 gh=6 kh=3 kit=drops-1 lot=2291        a hand test (also no3=10+-2, ec=0.38mS/cm)\n"
    "  lentic note a1 a2 change 6L                          a water change in each; rack/b: all of its "
    "tanks\n"
    "  lentic note a3 topoff 0.8L\n"
    "  lentic note soft batch 60L cacl2=5.4 epsom=4.5 ec=226   a mixed water; the answer tells what to add\n"
    "  lentic note a3 fed 0.2g spinach\n"
    "  lentic note a3 40 adults 25 shrimplets 3 berried     a count; 2 dead, 20 born, in=10 from=b1, out=5 "
    "to=b2\n"
    "  lentic note a3 cleaned sponge rinsed\n"
    "  lentic note a3 saw them all on the moss              a remark\n"
    "  lentic note a3 gh=6 --at 19:30                       it was at half past seven; also --at 2h\n"
    "  lentic note --correct 214 gh=5                       only what was wrong; the old entry stays "
    "readable\n"
    "  lentic note --withdraw 214 --why \"wrong tank\"\n"
    "  lentic note --list a3 --since 30d; lentic note --batch 198   which tanks got it";

int note_main(int argc, char **argv)
{
    struct note_request r = { .conf = SUMS_CONF, .since_s = 14 * 86400.0 };
    const struct option items[] = {
        { "at", "TIME", "when it was (now): 19:30, 2h ago as 2h, \"2026-03-01 12:00\"", OPTION_TEXT, &r.at, 0,
          0 },
        { "who", "NAME", "who did it; default: the login name", OPTION_TEXT, &r.who, 0, 0 },
        { "why", "TEXT", "a remark on it; the reason of a correction or withdrawal", OPTION_TEXT, &r.why, 0,
          0 },
        { "correct", "ID", "this entry was wrong: say what is right", OPTION_WHOLE, &r.correct, 1, ID_MOST },
        { "withdraw", "ID", "this entry counts no longer (with --why)", OPTION_WHOLE, &r.withdraw, 1,
          ID_MOST },
        { "list", NULL, "read it back: all, or of the places named", OPTION_FLAG, &r.list, 0, 0 },
        { "since", "SPAN", "how far --list looks back (14d)", OPTION_SPAN, &r.since_s, 1, 3.2e9 },
        { "all", NULL, "--list also shows what was corrected or withdrawn", OPTION_FLAG, &r.all, 0, 0 },
        { "batch", "ID", "a batch, what is wrong with it, and which tanks got it", OPTION_WHOLE, &r.batch, 1,
          ID_MOST },
        { "json", NULL, "answers and lists in JSON", OPTION_FLAG, &r.json, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &r.conf, 0, 0 },
    };
    const struct options o = {
        "note", "[PLACE...] [KIND] [NAME=VALUE...] [WORDS]", about, items, sizeof items / sizeof *items, more
    };
    const char **words = calloc((size_t)argc + 1, sizeof *words);
    struct site *site = NULL;
    int count = 0;
    if (words == NULL)
        return options_fail(&o, 3, "no memory");
    int code = options_read(&o, argc, argv, words, &count);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, r.conf, &site);
    if (code == OPTIONS_GO_ON)
        code = answer(&o, site, &r, words, count);
    site_free(site);
    free(words);
    return code;
}
