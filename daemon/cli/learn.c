/* What logged batches teach, shown with its evidence; nothing counts before the keeper says so. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "adapters/store_journal.h"
#include "cli/ask.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "model/learnt.h"
#include "plan/learn.h"
#include "wire/notes.h"

#define BATCHES_MAX 1024

struct learn_job {
    const struct options *options;
    const char *conf, *who;
    struct option_list take;
    bool json, all;
    struct site *site;
    struct journal_entry *entries;
    int count;
    struct learn_result result;
};

/* The last ones, when there are more than fit. */
static void keep(void *context, const struct journal_entry *e)
{
    struct learn_job *job = context;
    if (e->kind == JOURNAL_LEARNT) {
        (void)learnt_apply(job->site, e); /* of something no longer configured: nothing to do */
        return;
    }
    if (job->count == BATCHES_MAX)
        memmove(job->entries, job->entries + 1, (size_t)--job->count * sizeof *job->entries);
    job->entries[job->count++] = *e;
}

static int read_journal(struct learn_job *job)
{
    struct store_reader *reader;
    struct why why;
    struct journal_query query = JOURNAL_QUERY_ALL;
    enum status st = store_reader_open(job->site->store.path, &reader, &why);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "%s", why.text);
    learnt_begin(job->site);
    query.kind = JOURNAL_LEARNT;
    st = store_reader_journal(reader, &query, keep, job);
    query.kind = JOURNAL_BATCH;
    if (st == STATUS_OK)
        st = store_reader_journal(reader, &query, keep, job);
    store_reader_close(reader);
    return st == STATUS_OK ? OPTIONS_GO_ON
                           : options_fail(job->options, 3, "the journal cannot be read from the store");
}

static const char *id_of(const struct learn_job *job, const struct learn_proposal *p, char *buf, size_t cap)
{
    snprintf(buf, cap, "%s/%s", p->salt >= 0 ? job->site->salts[p->salt].id : job->site->waters[p->water].id,
             p->figure);
    return buf;
}

static void print_json(const struct learn_job *job)
{
    char buf[512], id[64];
    printf("{\"mixed\":%d,\"figures\":[", job->result.mixed);
    for (int i = 0; i < job->result.count; i++) {
        const struct learn_proposal *p = &job->result.items[i];
        struct text t = text_over(buf, sizeof buf);
        json_open(&t, '{');
        json_key(&t, "id");
        json_string(&t, id_of(job, p, id, sizeof id));
        sums_member(&t, "now", p->now);
        sums_member(&t, "learnt", p->learnt);
        sums_member(&t, "sd", p->sd);
        sums_member(&t, "spread", p->spread);
        sums_member(&t, "n", p->n);
        json_key(&t, "differs");
        json_bool(&t, p->differs);
        json_close(&t, '}');
        printf("%s%s", i > 0 ? ",\n" : "", buf);
    }
    printf("]}\n");
}

static void print_one(const struct learn_job *job, const struct learn_proposal *p)
{
    char buf[512], id[64];
    struct text t = text_over(buf, sizeof buf);
    learn_words(job->site, p, &t);
    printf("%s\n", buf);
    if (p->differs)
        printf("    to reckon with it: lentic learn --take %s\n", id_of(job, p, id, sizeof id));
}

static int print_words(const struct learn_job *job)
{
    for (int i = 0; i < job->result.count; i++)
        if (job->all || job->result.items[i].differs)
            print_one(job, &job->result.items[i]);
    if (job->result.mixed > 0)
        printf(
            "%d measured batches are of several salts that conductivity cannot tell apart: test their gh and "
            "kh as well, or mix one of a single salt\n",
            job->result.mixed);
    if (job->count < LEARN_LEAST)
        printf("only %d batches are logged; %d are needed (lentic note WATER batch 60L SALT=GRAMS ec=...)\n",
               job->count, LEARN_LEAST);
    else if (job->result.count == 0)
        printf("the batches that are logged teach nothing yet\n");
    return 0;
}

/* --- taking over --- */

static int send(const struct learn_job *job, struct talk *talk, const struct learn_proposal *p)
{
    char request[NOTES_ENTRY_MAX], sentence[TALK_ANSWER_MAX] = "";
    struct journal_entry e;
    struct text out = text_over(request, sizeof request);
    const char *who = ask_who(job->who);
    learn_entry(job->site, p, &e);
    snprintf(e.who, sizeof e.who, "%s", who != NULL ? who : "");
    notes_format_request(&e, &out);
    int code = talk_command(talk, "note", request, sentence);
    if (code != 0)
        return options_fail(job->options, code, "%s", sentence);
    printf("%s\n    to take it back: lentic note --withdraw NUMBER --why ...\n", sentence);
    return 0;
}

static const struct learn_proposal *find(const struct learn_job *job, const char *word)
{
    char id[64];
    for (int i = 0; i < job->result.count; i++)
        if (strcmp(id_of(job, &job->result.items[i], id, sizeof id), word) == 0)
            return &job->result.items[i];
    return NULL;
}

static int take_over(const struct learn_job *job)
{
    struct talk talk;
    for (int i = 0; i < job->take.count; i++)
        if (find(job, job->take.items[i]) == NULL)
            return options_fail(job->options, 1,
                                "nothing is learnt of \"%.40s\"; lentic learn --all shows what is",
                                job->take.items[i]);
    int code = talk_open(&talk, job->options, job->site, NULL, 0, NULL, NULL);
    int worst = 0;
    for (int i = 0; i < job->take.count && code == OPTIONS_GO_ON; i++) {
        int one = send(job, &talk, find(job, job->take.items[i]));
        worst = one > worst ? one : worst;
    }
    talk_close(&talk);
    return code == OPTIONS_GO_ON ? worst : code;
}

static int answer(struct learn_job *job)
{
    int code = read_journal(job);
    if (code != OPTIONS_GO_ON)
        return code;
    learn_eval(job->site, job->entries, job->count, &job->result);
    if (job->take.count > 0)
        return take_over(job);
    if (!job->json)
        return print_words(job);
    print_json(job);
    return 0;
}

int learn_main(int argc, char **argv)
{
    static struct learn_job job = { .conf = SUMS_CONF };
    const struct option items[] = {
        { "take", "NAME", "reckon with this figure from now on, such as epsom/ec; may be repeated",
          OPTION_LIST, &job.take, 0, 0 },
        { "all", NULL, "also what is as is reckoned with", OPTION_FLAG, &job.all, 0, 0 },
        { "who", "NAME", "who takes it over; default: the login name", OPTION_TEXT, &job.who, 0, 0 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &job.json, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &job.conf, 0, 0 },
    };
    const struct options o = {
        "learn",
        NULL,
        "What the batches in the journal teach: how much a salt really adds per g/L (a damp jar adds less), "
        "and a\n"
        "water's solids per conductivity. Shown with number and spread; nothing counts before you say so.",
        items,
        sizeof items / sizeof *items,
        "  lentic note soft batch 60L epsom=4.5 ec=226      log batches, with what you measured\n"
        "  lentic learn\n  lentic learn --take epsom/ec\n"
        "A figure taken over is an entry of the journal, dated and with its evidence; lentic note --withdraw "
        "takes "
        "it back."
    };
    job.options = &o;
    int code = sums_read(&o, argc, argv, NULL);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, job.conf, &job.site);
    if (code != OPTIONS_GO_ON)
        return code;
    job.entries = calloc(BATCHES_MAX, sizeof *job.entries);
    code = job.entries == NULL ? options_fail(&o, 3, "no memory") : answer(&job);
    free(job.entries);
    site_free(job.site);
    return code;
}
