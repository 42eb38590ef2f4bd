/* A test message on every path, and what became of it. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "cli/alerts.h"
#include "cli/ask.h"
#include "cli/talk.h"
#include "wire/json.h"

#define STEP_MS      50
#define EVENT_MS     5000
#define BEYOND_MS    5000 /* over the time limit of the command */
#define REQUEST_ROOM 512

/* The receiving thread fills it. */
struct trial {
    bool seen, ended, delivered;
    char said[256];
};

static bool is(const struct json_item *item, const char *word)
{
    return item->kind == JSON_KIND_TEXT && strcmp(item->text, word) == 0;
}

static void hear(void *context, const struct message *m)
{
    struct trial *trial = context;
    struct json_doc doc;
    if (json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK)
        return;
    struct json_item event = json_doc_at(&doc, "/event"), text = json_doc_at(&doc, "/text");
    if (is(&event, "test"))
        trial->seen = true;
    if (is(&event, "test-result")) {
        trial->ended = true;
        trial->delivered = json_doc_at(&doc, "/value").number != 0;
        snprintf(trial->said, sizeof trial->said, "%s", text.kind == JSON_KIND_TEXT ? text.text : "");
    }
    json_doc_fini(&doc);
}

static void wait_for(struct talk *talk, const bool *flag, int most_ms)
{
    bool set = false;
    for (int waited = 0; !set && waited < most_ms && talk_pass(talk, STEP_MS); waited += STEP_MS) {
        pthread_mutex_lock(&talk->lock);
        set = *flag;
        pthread_mutex_unlock(&talk->lock);
    }
}

static void print_people(const struct trial *t, bool second)
{
    printf("MQTT: %s\n",
           t->seen ? "the test message came through" : "the test message did not come back within 5 s");
    if (!second)
        printf("Command: none is configured (notify.command), so there is no second path.\n");
    else
        printf("Command: %s\n", t->ended ? t->said : "no result in its time limit");
}

static void print_json(const struct trial *t, bool second)
{
    char buf[1024];
    struct text out = text_over(buf, sizeof buf);
    json_open(&out, '{');
    json_key(&out, "mqtt");
    json_bool(&out, t->seen);
    json_key(&out, "command");
    if (second)
        json_bool(&out, t->ended && t->delivered);
    else
        json_null(&out);
    json_key(&out, "text");
    json_string(&out, t->said);
    json_close(&out, '}');
    puts(buf);
}

static int try_paths(const struct alerts_job *job, struct talk *talk, struct trial *trial)
{
    char request[REQUEST_ROOM], sentence[TALK_ANSWER_MAX];
    struct text out = text_over(request, sizeof request);
    struct ask_request r = { -1, -1, NAN, NULL, ask_who(job->who), job->why };
    bool second = job->site->notify.command != NULL;
    ask_format(job->site, &r, &out);
    int code = talk_command(talk, "test", request, sentence);
    if (code != 0)
        return options_fail(job->options, code, "%s", sentence);
    wait_for(talk, &trial->seen, EVENT_MS);
    if (second)
        wait_for(talk, &trial->ended, job->site->notify.command_timeout_s * 1000 + BEYOND_MS);
    if (job->json)
        print_json(trial, second);
    else
        print_people(trial, second);
    return trial->seen && (!second || (trial->ended && trial->delivered)) ? 0 : 1;
}

int alerts_test(const struct alerts_job *job)
{
    char events[300];
    const char *const filters[] = { events };
    struct trial trial = { .seen = false };
    struct talk talk;
    snprintf(events, sizeof events, "%s/event", job->site->publish.base);
    int code = talk_open(&talk, job->options, job->site, filters, 1, hear, &trial);
    if (code == OPTIONS_GO_ON)
        code = try_paths(job, &talk, &trial);
    talk_close(&talk);
    return code;
}
