/* The report's figures for other programs; the curves are those of past and export. */
#include "cli/reporting.h"

#define WHY_MAX 1024

static void member_number(struct text *t, const char *key, double v)
{
    json_put_number(t, key, v, -1);
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
    json_put_text(t, "quantity", quantity_info(s->quantity)->name);
    json_put_text(t, "unit", quantity_info(s->quantity)->unit);
    member_number(t, "lo", y->lo);
    json_put_time(t, "lo_at", y->lo_at);
    member_number(t, "mean", y->mean);
    member_number(t, "hi", y->hi);
    json_put_time(t, "hi_at", y->hi_at);
    member_number(t, "swing_day", y->swing);
    member_number(t, "in_band", y->in_band);
    json_key(t, "readings");
    json_int(t, y->n);
    json_key(t, "good");
    json_int(t, y->good);
    member_number(t, "last", s->now);
    json_put_time(t, "last_t", s->now_t);
    json_close(t, '}');
}

static void put_place(struct text *t, const struct report_page *page, int index)
{
    static const char *const ranks[] = { "quiet", "stood-out", "low", "medium", "high" };
    const struct report_place *p = &page->places[index];
    char words[WHY_MAX];
    struct text why = text_over(words, sizeof words);
    json_open(t, '{');
    json_put_text(t, "place", place_text(page, p->place));
    json_put_text(t, "rank", ranks[report_page_rank(page, index, &why)]);
    json_put_text(t, "why", words);
    open_list(t, "quantities");
    for (int i = 0; i < p->series_count; i++)
        put_series(t, &p->series[i]);
    json_close(t, ']');
    json_close(t, '}');
}

static void put_notice(struct text *t, const struct notice *n)
{
    json_put_text(t, "id", n->ref);
    json_put_text(t, "title", n->title);
    json_put_text(t, "priority", priority_name(n->priority));
    json_put_text(t, "state", n->state);
    json_put_time(t, "raised", n->raised);
    json_put_text(t, "leader", n->leader);
    json_put_text(t, "cause", n->cause);
    json_put_text(t, "evidence", n->evidence);
    json_put_text(t, "action", n->action);
}

static void put_alerts(struct text *t, const struct report_page *page)
{
    open_list(t, "standing");
    for (int i = 0; i < page->standing_count; i++) {
        json_open(t, '{');
        put_notice(t, &page->standing[i]);
        json_put_time(t, "due", page->standing[i].due);
        json_close(t, '}');
    }
    json_close(t, ']');
    open_list(t, "alerts");
    for (int i = 0; i < page->spell_count; i++) {
        json_open(t, '{');
        put_notice(t, &page->spells[i].n);
        json_put_time(t, "ended", page->spells[i].ended);
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
        json_put_time(t, "t", page->tests[i].t);
        json_put_text(t, "place", place_text(page, page->tests[i].place));
        json_put_text(t, "quantity", quantity_info(page->tests[i].quantity)->name);
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
        json_put_text(t, "place", place_text(page, page->calibrations[i].place));
        json_put_text(t, "probe", page->calibrations[i].probe);
        json_put_text(t, "quantity", quantity_info(page->calibrations[i].quantity)->name);
        json_put_time(t, "last", page->calibrations[i].last);
        member_number(t, "every_d", page->calibrations[i].every_d);
        json_close(t, '}');
    }
    json_close(t, ']');
}

void reporting_put_json(const struct report_page *page, struct text *t)
{
    json_open(t, '{');
    json_put_text(t, "report", page->site->id);
    json_put_time(t, "from", page->from);
    json_put_time(t, "to", page->to);
    json_put_time(t, "made", page->made);
    json_put_text(t, "version", page->version);
    json_put_text(t, "sources", page->sources);
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
