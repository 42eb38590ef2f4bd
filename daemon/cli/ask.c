#include "cli/ask.h"

#include <math.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/nearest.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "config/load.h"

#define NAMES_MAX    2048
#define REQUEST_ROOM 1024
#define WORD_ROOM    160

/* --- finding what is meant --- */

static bool find(const struct site *site, const char *word, int *place, int *alert)
{
    *alert = site_alert_find(site, word, strlen(word));
    *place = *alert >= 0 ? site->alerts[*alert].place : site_place_find(site, word, strlen(word));
    return *place >= 0;
}

static enum status unknown(const struct site *site, const char *word, struct why *why)
{
    const char *names[NAMES_MAX];
    size_t count = 0;
    for (int i = 0; i < site->place_count && count < NAMES_MAX; i++)
        names[count++] = site->places[i].text;
    for (int i = 0; i < site->tank_count && count < NAMES_MAX; i++)
        names[count++] = site->tanks[i].id;
    for (int i = 0; i < site->alert_count && count < NAMES_MAX; i++)
        names[count++] = site->alerts[i].ref;
    const char *near = nearest_of(word, names, count);
    if (near == NULL)
        return why_say(why, STATUS_INVALID,
                       "there is no alert or place \"%.60s\"; lentic alerts --all names what stands", word);
    return why_say(why, STATUS_INVALID, "there is no alert or place \"%.60s\"; did you mean \"%s\"?", word,
                   near);
}

enum status ask_target(const struct site *site, const char *word, int *place, int *alert, struct why *why)
{
    char full[WORD_ROOM];
    if (find(site, word, place, alert))
        return STATUS_OK;
    snprintf(full, sizeof full, "tank/%s", word);
    if (find(site, full, place, alert))
        return STATUS_OK;
    return unknown(site, word, why);
}

const char *ask_who(const char *given)
{
    const char *name = getenv("LOGNAME");
    if (given != NULL)
        return given;
    if (name != NULL && name[0] != '\0')
        return name;
    const struct passwd *user = getpwuid(getuid());
    return user != NULL ? user->pw_name : NULL;
}

/* --- asking --- */

void ask_format(const struct site *site, const struct ask_request *r, struct text *json)
{
    json_open(json, '{');
    if (r->alert >= 0)
        json_put_given(json, "id", site->alerts[r->alert].ref);
    else if (r->place >= 0)
        json_put_given(json, "place", site->places[r->place].text);
    if (!isnan(r->minutes))
        sums_member(json, "minutes", r->minutes);
    json_put_given(json, "what", r->what);
    json_put_given(json, "who", r->who);
    json_put_given(json, "why", r->why);
    json_close(json, '}');
}

static void print_json(const char *command, int code, const char *sentence)
{
    char buf[2 * TALK_ANSWER_MAX];
    struct text out = text_over(buf, sizeof buf);
    json_open(&out, '{');
    json_key(&out, "ok");
    json_bool(&out, code == 0);
    json_put_given(&out, "command", command);
    json_put_given(&out, "text", sentence);
    json_close(&out, '}');
    puts(buf);
}

int ask_send(const struct options *o, const struct site *site, const char *command,
             const struct ask_request *r, bool json)
{
    char request[REQUEST_ROOM], sentence[TALK_ANSWER_MAX] = "";
    struct text out = text_over(request, sizeof request);
    struct talk talk;
    ask_format(site, r, &out);
    if (out.cut)
        return options_fail(o, 2, "that is too long a request");
    int code = talk_open(&talk, o, site, NULL, 0, NULL, NULL);
    if (code == OPTIONS_GO_ON) {
        code = talk_command(&talk, command, request, sentence);
        if (json)
            print_json(command, code, sentence);
        else if (code == 0)
            printf("%s\n", sentence[0] != '\0' ? sentence : "done");
        else
            code = options_fail(o, code, "%s", sentence);
    }
    talk_close(&talk);
    return code;
}

/* --- the verb --- */

struct asked {
    const char *conf, *who, *why;
    double seconds;
    bool json;
};

static int check_needs(const struct options *o, const struct ask_verb *verb, const struct asked *asked)
{
    if (verb->needs_span && isnan(asked->seconds))
        return options_fail(o, 2, "say for how long: --for 2h");
    if (verb->needs_why && (asked->why == NULL || asked->why[0] == '\0'))
        return options_fail(o, 2, "say why, for whoever wonders later: --why \"...\"");
    return OPTIONS_GO_ON;
}

static int ask(const struct options *o, const struct ask_verb *verb, const struct asked *asked,
               const char *word)
{
    struct ask_request r = { .minutes = asked->seconds / 60, .who = ask_who(asked->who), .why = asked->why };
    struct why why = { "" };
    struct site *site = NULL;
    int code = sums_site(o, asked->conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    if (ask_target(site, word, &r.place, &r.alert, &why) != STATUS_OK)
        code = options_fail(o, 2, "%s", why.text);
    else
        code = ask_send(o, site, verb->name, &r, asked->json);
    site_free(site);
    return code;
}

int ask_main(const struct ask_verb *verb, int argc, char **argv)
{
    struct asked asked = { .conf = SUMS_CONF, .seconds = NAN };
    const struct option items[] = {
        { "why", "TEXT", "the reason, kept with the alert", OPTION_TEXT, &asked.why, 0, 0 },
        { "who", "NAME", "who asks; default: the login name", OPTION_TEXT, &asked.who, 0, 0 },
        { "conf", "FILE", "configuration that names broker and places", OPTION_TEXT, &asked.conf, 0, 0 },
        { "json", NULL, "the answer as one JSON object", OPTION_FLAG, &asked.json, 0, 0 },
        { "for", "SPAN", verb->span, OPTION_SPAN, &asked.seconds, 1, verb->span_most },
    };
    const struct options options = {
        .verb = verb->name,
        .operands = "ALERT|PLACE",
        .about = verb->about,
        .items = items,
        .count = sizeof items / sizeof *items - (verb->span == NULL),
        .more = verb->more,
    };
    const char *word = NULL;
    int code = sums_read(&options, argc, argv, &word);
    if (code == OPTIONS_GO_ON)
        code = check_needs(&options, verb, &asked);
    return code == OPTIONS_GO_ON ? ask(&options, verb, &asked, word) : code;
}
