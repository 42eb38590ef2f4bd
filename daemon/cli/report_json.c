/* The report's figures for other programs; the curves are those of past and export. */
#include "cli/reporting.h"

#define WHY_MAX 1024

static void member_text(struct text *t, const char *key, const char *s)
{
    json_key(t, key);
    if (s[0] != '\0')
        json_string(t, s);
    else
        json_null(t);
}

static void member_number(struct text *t, const char *key, double v)
{
    json_key(t, key);
    json_number(t, v, -1);
}

static void member_time(struct text *t, const char *key, utc_t v)
{
    json_key(t, key);
    json_time(t, v);
}

static void open_list(struct text *t, const char *key)
{
    json_key(t, key);
    json_open(t, '[');
}

static const char *place_text(const struct report_page *page, int place)
{
    return place >= 0 ? page->site->places[place].text : "";
}

static void put_series(struct text *t, const struct report_series *s)
{
    const struct tally *y = &s->tally;
    json_open(t, '{');
    member_text(t, "quantity", quantity_info(s->quantity)->name);
    member_text(t, "unit", quantity_info(s->quantity)->unit);
    member_number(t, "lo", y->lo);
    member_time(t, "lo_at", y->lo_at);
    member_number(t, "mean", y->mean);
    member_number(t, "hi", y->hi);
    member_time(t, "hi_at", y->hi_at);
    member_number(t, "swing_day", y->swing);
    member_number(t, "in_band", y->in_band);
    json_key(t, "readings");
    json_int(t, y->n);
    json_key(t, "good");
    json_int(t, y->good);
    member_number(t, "last", s->now);
    member_time(t, "last_t", s->now_t);
    json_close(t, '}');
}

static void put_place(struct text *t, const struct report_page *page, int index)
{
    static const char *const ranks[] = { "quiet", "stood-out", "low", "medium", "high" };
    const struct report_place *p = &page->places[index];
    char words[WHY_MAX];
    struct text why = text_over(words, sizeof words);
    json_open(t, '{');
    member_text(t, "place", place_text(page, p->place));
    member_text(t, "rank", ranks[report_page_rank(page, index, &why)]);
    member_text(t, "why", words);
    open_list(t, "quantities");
    for (int i = 0; i < p->series_count; i++)
        put_series(t, &p->series[i]);
    json_close(t, ']');
    json_close(t, '}');
}

static void put_notice(struct text *t, const struct notice *n)
{
    member_text(t, "id", n->ref);
    member_text(t, "title", n->title);
    member_text(t, "priority", priority_name(n->priority));
    member_text(t, "state", n->state);
    member_time(t, "raised", n->raised);
    member_text(t, "leader", n->leader);
    member_text(t, "cause", n->cause);
    member_text(t, "evidence", n->evidence);
    member_text(t, "action", n->action);
}

static void put_alerts(struct text *t, const struct report_page *page)
{
    open_list(t, "standing");
    for (int i = 0; i < page->standing_count; i++) {
        json_open(t, '{');
        put_notice(t, &page->standing[i]);
        member_time(t, "due", page->standing[i].due);
        json_close(t, '}');
    }
    json_close(t, ']');
    open_list(t, "alerts");
    for (int i = 0; i < page->spell_count; i++) {
        json_open(t, '{');
        put_notice(t, &page->spells[i].n);
        member_time(t, "ended", page->spells[i].ended);
        json_key(t, "sent");
        json_bool(t, page->spells[i].sent);
        json_close(t, '}');
    }
    json_close(t, ']');
}

static void put_tests(struct text *t, const struct report_page *page)
{
    open_list(t, "tests");
    for (int i = 0; i < page->test_count; i++) {
        json_open(t, '{');
        member_time(t, "t", page->tests[i].t);
        member_text(t, "place", place_text(page, page->tests[i].place));
        member_text(t, "quantity", quantity_info(page->tests[i].quantity)->name);
        member_number(t, "value", page->tests[i].value);
        member_number(t, "sd", page->tests[i].sd);
        json_close(t, '}');
    }
    json_close(t, ']');
}

static void put_calibrations(struct text *t, const struct report_page *page)
{
    open_list(t, "calibrations");
    for (int i = 0; i < page->calibration_count; i++) {
        json_open(t, '{');
        member_text(t, "place", place_text(page, page->calibrations[i].place));
        member_text(t, "probe", page->calibrations[i].probe);
        member_text(t, "quantity", quantity_info(page->calibrations[i].quantity)->name);
        member_time(t, "last", page->calibrations[i].last);
        member_number(t, "every_d", page->calibrations[i].every_d);
        json_close(t, '}');
    }
    json_close(t, ']');
}

void reporting_put_json(const struct report_page *page, struct text *t)
{
    json_open(t, '{');
    member_text(t, "report", page->site->id);
    member_time(t, "from", page->from);
    member_time(t, "to", page->to);
    member_time(t, "made", page->made);
    member_text(t, "version", page->version);
    member_text(t, "sources", page->sources);
    open_list(t, "places");
    for (int i = 0; i < page->place_count; i++)
        put_place(t, page, i);
    json_close(t, ']');
    put_alerts(t, page);
    put_tests(t, page);
    put_calibrations(t, page);
    json_close(t, '}');
    text_put(t, "\n");
}
