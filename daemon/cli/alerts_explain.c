/* What a kind of alert means, what happens if nothing is done, what to do, how long there is. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/nearest.h"
#include "base/text.h"
#include "cli/alerts.h"

#define ROOM 65536

/* "temp-low", "low", "tank/a1/temp-low": the quantity says nothing of the kind. */
static bool means(const char *asked, const char *name)
{
    const char *last = strrchr(asked, '/');
    const char *word = last == NULL ? asked : last + 1;
    size_t n = strlen(word), k = strlen(name);
    if (strcmp(word, name) == 0)
        return true;
    if (n <= k + 1 || strcmp(word + n - k, name) != 0 || word[n - k - 1] != '-')
        return false;
    enum quantity q = quantity_find(word, n - k - 1);
    return q != Q_COUNT;
}

static void put_people(const struct kind_info *info, struct text *out)
{
    text_printf(out, "%s - %s (%s priority unless the configuration says otherwise)\n", info->name,
                info->title, priority_name(info->priority));
    text_printf(out, "  Means: %s\n", info->meaning);
    text_printf(out, "  If nothing is done: %s\n", info->consequence);
    text_printf(out, "  Do: %s\n", info->action);
    text_printf(out, "  Time: %s\n", info->time);
}

static void put_json(const struct kind_info *info, struct text *out)
{
    const char *const members[][2] = {
        { "kind", info->name },
        { "title", info->title },
        { "priority", priority_name(info->priority) },
        { "meaning", info->meaning },
        { "consequence", info->consequence },
        { "action", info->action },
        { "time", info->time },
    };
    json_open(out, '{');
    for (size_t i = 0; i < sizeof members / sizeof *members; i++) {
        json_key(out, members[i][0]);
        json_string(out, members[i][1]);
    }
    json_close(out, '}');
}

static int unknown(const struct alerts_job *job, const char *asked)
{
    const char *names[KIND_COUNT];
    for (int k = 0; k < KIND_COUNT; k++)
        names[k] = kind_info((enum alert_kind)k)->name;
    const char *near = nearest_of(asked, names, KIND_COUNT);
    return options_fail(
        job->options, 2, "there is no kind of alert \"%.40s\"%s%s%s; --explain all lists them", asked,
        near != NULL ? "; did you mean \"" : "", near != NULL ? near : "", near != NULL ? "\"?" : "");
}

int alerts_explain(const struct alerts_job *job, const char *kind)
{
    char *buf = malloc(ROOM);
    int found = 0;
    if (buf == NULL)
        return options_fail(job->options, 3, "no memory");
    struct text out = text_over(buf, ROOM);
    if (job->json)
        json_open(&out, '[');
    for (int k = 0; k < KIND_COUNT; k++) {
        const struct kind_info *info = kind_info((enum alert_kind)k);
        if (strcmp(kind, "all") != 0 && !means(kind, info->name))
            continue;
        if (job->json) {
            put_json(info, &out);
        } else {
            text_put(&out, found > 0 ? "\n" : "");
            put_people(info, &out);
        }
        found++;
    }
    if (job->json) {
        json_close(&out, ']');
        text_put(&out, "\n");
    }
    if (found > 0)
        fputs(buf, stdout);
    free(buf);
    return found > 0 ? 0 : unknown(job, kind);
}
