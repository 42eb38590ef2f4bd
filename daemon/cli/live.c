#include "cli/live.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "cli/talk.h"
#include "wire/json.h"

#define WAIT_MS      2000
#define STEP_MS      50
#define DOCUMENT_MAX 20480

struct hearing_one {
    char document[DOCUMENT_MAX];
    size_t n;
};

static void hear(void *context, const struct message *m)
{
    struct hearing_one *h = context;
    if (m->payload_len >= sizeof h->document)
        return;
    memcpy(h->document, m->payload, m->payload_len);
    h->n = m->payload_len;
}

static double number_at(const struct json_doc *doc, const char *quantity, const char *member)
{
    char pointer[64];
    struct text out = text_over(pointer, sizeof pointer);
    text_printf(&out, "/values/%s/%s", quantity, member);
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : (double)NAN;
}

static bool is_hand(const struct json_doc *doc, const char *quantity)
{
    char pointer[64], origin[16];
    struct text out = text_over(pointer, sizeof pointer);
    text_printf(&out, "/values/%s/origin", quantity);
    json_doc_text(doc, pointer, origin, sizeof origin);
    return strcmp(origin, "hand") == 0;
}

enum status live_parse(const char *json, size_t n, struct live *out)
{
    struct json_doc doc;
    if (json_doc_parse(json, n, &doc, NULL) != STATUS_OK)
        return STATUS_INVALID;
    bool ours =
        json_doc_at(&doc, "/v").number == 1 && json_doc_at(&doc, "/values").kind == JSON_KIND_CONTAINER;
    for (int q = 0; q < Q_COUNT && ours; q++) {
        const char *name = quantity_info((enum quantity)q)->name;
        bool stale = number_at(&doc, name, "stale") != 0; /* also when it is not said */
        out->value[q] = stale ? (double)NAN : number_at(&doc, name, "value");
        out->age_s[q] = number_at(&doc, name, "age_s");
        out->hand[q] = is_hand(&doc, name);
    }
    json_doc_fini(&doc);
    return ours ? STATUS_OK : STATUS_INVALID;
}

int live_read(const struct options *o, const struct site *site, int tank, struct live *out)
{
    static struct hearing_one h;
    struct talk talk;
    char topic[TALK_TOPIC_MAX];
    const char *filters[] = { topic };
    h.n = 0;
    (void)snprintf(topic, sizeof topic, "%s/tank/%s", site->publish.base, site->tanks[tank].id);
    int code = talk_open(&talk, o, site, filters, 1, hear, &h);
    for (int waited = 0; code == OPTIONS_GO_ON && h.n == 0 && waited < WAIT_MS; waited += STEP_MS)
        if (!talk_pass(&talk, STEP_MS))
            break;
    talk_close(&talk);
    if (code != OPTIONS_GO_ON)
        return code;
    if (h.n == 0 || live_parse(h.document, h.n, out) != STATUS_OK)
        return options_fail(o, 3, "the service says nothing of tank %s: is it running, on this broker?",
                            site->tanks[tank].id);
    return OPTIONS_GO_ON;
}

void live_tell(const struct live *live, enum quantity q)
{
    const struct quantity_info *info = quantity_info(q);
    char span[32];
    if (isnan(live->value[q]))
        return;
    (void)fprintf(stderr, "%s %.*f %s%s%s, %s %s ago\n", info->title, info->decimals, live->value[q],
                  info->unit, info->unit[0] != '\0' ? " " : "", "now", live->hand[q] ? "tested" : "measured",
                  span_format((int64_t)(live->age_s[q] * 1000), span, sizeof span));
}

int live_start(const struct options *o, const struct site *site, int tank, enum quantity q, double *value)
{
    struct live live;
    int code = live_read(o, site, tank, &live);
    if (code != OPTIONS_GO_ON)
        return options_fail(o, code, "or say it yourself: --now");
    if (isnan(live.value[q]))
        return options_fail(o, 2, "%s of tank %s is not known now: say --now", quantity_info(q)->title,
                            site->tanks[tank].id);
    *value = live.value[q];
    live_tell(&live, q);
    return OPTIONS_GO_ON;
}
