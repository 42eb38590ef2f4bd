#include "model/pattern.h"

#include <string.h>

#include "model/message.h"

static const struct {
    enum place_kind kind;
    const char *name;
} captures[] = { /* the most particular first */
                 { PLACE_TANK, "tank" },
                 { PLACE_CIRCUIT, "circuit" },
                 { PLACE_RACK, "rack" },
                 { PLACE_SOURCE, "source" },
                 { PLACE_STORE, "store" }
};
#define CAPTURES (sizeof captures / sizeof *captures)

static enum place_kind capture_find(const char *name, size_t n)
{
    for (size_t i = 0; i < CAPTURES; i++)
        if (strlen(captures[i].name) == n && memcmp(captures[i].name, name, n) == 0)
            return captures[i].kind;
    return PLACE_KIND_COUNT;
}

bool pattern_next(const char **rest, struct pattern_level *level)
{
    const char *text = *rest;
    if (text == NULL)
        return false;
    size_t len = strcspn(text, "/");
    *level = (struct pattern_level){ .kind = LEVEL_TEXT, .text = text, .len = len };
    *rest = text[len] == '/' ? text + len + 1 : NULL;
    const char *open = memchr(text, '{', len);
    const char *close = open == NULL ? NULL : memchr(open, '}', len - (size_t)(open - text));
    if (close != NULL) {
        level->kind = LEVEL_CAPTURE;
        level->capture = capture_find(open + 1, (size_t)(close - open - 1));
        level->before = (size_t)(open - text);
        level->behind = len - (size_t)(close - text) - 1;
    } else if (len == 1 && *text == '+') {
        level->kind = LEVEL_ANY;
    } else if (len == 1 && *text == '#') {
        level->kind = LEVEL_REST;
    }
    return true;
}

static size_t count_of(const struct pattern_level *level, char c)
{
    size_t n = 0;
    for (size_t i = 0; i < level->len; i++)
        n += level->text[i] == c;
    return n;
}

static enum status check_capture(const struct pattern_level *level, struct why *why)
{
    int n = (int)level->len;
    size_t open = count_of(level, '{'), close = count_of(level, '}');
    if (level->kind != LEVEL_CAPTURE)
        return open + close == 0
                   ? STATUS_OK
                   : why_say(why, STATUS_INVALID, "the braces in \"%.*s\" do not pair", n, level->text);
    if (open != 1 || close != 1)
        return why_say(why, STATUS_INVALID, "\"%.*s\" holds more than one capture; one a level is allowed", n,
                       level->text);
    if (level->capture == PLACE_KIND_COUNT)
        return why_say(why, STATUS_INVALID,
                       "unknown capture in \"%.*s\"; known are {tank} {rack} {circuit} {source} {store}", n,
                       level->text);
    return STATUS_OK;
}

static enum status check_level(const struct pattern_level *level, bool last, struct why *why)
{
    int n = (int)level->len;
    for (size_t i = 0; i < level->len; i++)
        if ((unsigned char)level->text[i] < 0x20 || level->text[i] == 0x7f)
            return why_say(why, STATUS_INVALID, "the topic holds a control character");
    if (level->kind == LEVEL_REST && !last)
        return why_say(why, STATUS_INVALID, "# may stand only at the end of a topic");
    if (level->kind != LEVEL_ANY && level->kind != LEVEL_REST &&
        count_of(level, '+') + count_of(level, '#') > 0)
        return why_say(why, STATUS_INVALID, "+ and # must stand alone in their level, not as in \"%.*s\"", n,
                       level->text);
    return check_capture(level, why);
}

enum status pattern_check(const char *pattern, enum place_kind *capture, struct why *why)
{
    if (*pattern == '\0')
        return why_say(why, STATUS_INVALID, "the topic is empty");
    if (strlen(pattern) > MESSAGE_TOPIC_MAX)
        return why_say(why, STATUS_INVALID, "the topic is longer than %d bytes", MESSAGE_TOPIC_MAX);
    if (strncmp(pattern, "$share/", 7) == 0)
        return why_say(why, STATUS_INVALID,
                       "a shared subscription would give part of the readings to other clients");
    bool seen[PLACE_KIND_COUNT] = { false };
    struct pattern_level level;
    for (const char *rest = pattern; pattern_next(&rest, &level);) {
        enum status st = check_level(&level, rest == NULL, why);
        if (st != STATUS_OK)
            return st;
        if (level.kind != LEVEL_CAPTURE)
            continue;
        if (seen[level.capture])
            return why_say(why, STATUS_INVALID, "the same capture stands twice in the topic");
        seen[level.capture] = true;
    }
    *capture = PLACE_KIND_COUNT;
    for (size_t i = CAPTURES; i-- > 0;)
        if (seen[captures[i].kind])
            *capture = captures[i].kind;
    return STATUS_OK;
}

size_t pattern_filter(const char *pattern, char *buf, size_t cap)
{
    struct text out = text_over(buf, cap);
    struct pattern_level level;
    for (const char *rest = pattern; pattern_next(&rest, &level);) {
        if (level.kind == LEVEL_CAPTURE)
            text_put(&out, "+");
        else
            text_put_n(&out, level.text, level.len);
        if (rest != NULL)
            text_put(&out, "/");
    }
    if (out.cut)
        text_clear(&out);
    return out.len;
}

/* NULL when the place has nothing of that kind. */
static const char *id_at(const struct site *site, int place, enum place_kind kind)
{
    const struct place *p = &site->places[place];
    if (p->kind == kind)
        return p->id;
    if (p->kind != PLACE_TANK)
        return NULL;
    const struct tank *tank = &site->tanks[p->tank];
    int index = kind == PLACE_RACK ? tank->rack : kind == PLACE_CIRCUIT ? tank->circuit : -1;
    return index < 0 ? NULL : site->places[index].id;
}

bool pattern_serves(const char *pattern, const struct site *site, int place)
{
    struct pattern_level level;
    for (const char *rest = pattern; pattern_next(&rest, &level);)
        if (level.kind == LEVEL_CAPTURE && id_at(site, place, level.capture) == NULL)
            return false;
    return true;
}

void pattern_fill(const char *pattern, const struct site *site, int place, struct text *out)
{
    struct pattern_level level;
    for (const char *rest = pattern; pattern_next(&rest, &level);) {
        const char *id = level.kind == LEVEL_CAPTURE ? id_at(site, place, level.capture) : NULL;
        if (id == NULL) {
            text_put_n(out, level.text, level.len);
        } else {
            text_put_n(out, level.text, level.before);
            text_put(out, id);
            text_put_n(out, level.text + level.len - level.behind, level.behind);
        }
        if (rest != NULL)
            text_put(out, "/");
    }
}

static bool level_meets(const struct pattern_level *level, const struct site *site, int place,
                        const char *topic, size_t n)
{
    if (level->kind == LEVEL_ANY)
        return true;
    if (level->kind == LEVEL_TEXT)
        return n == level->len && memcmp(topic, level->text, n) == 0;
    const char *id = id_at(site, place, level->capture);
    size_t id_len = id == NULL ? 0 : strlen(id);
    return id != NULL && n == level->before + id_len + level->behind &&
           memcmp(topic, level->text, level->before) == 0 && memcmp(topic + level->before, id, id_len) == 0 &&
           memcmp(topic + n - level->behind, level->text + level->len - level->behind, level->behind) == 0;
}

bool pattern_match(const char *pattern, const struct site *site, int place, const char *topic, size_t n)
{
    const char *end = topic + n, *at = topic; /* at: NULL once the topic is used up */
    struct pattern_level level;
    bool wild_first = *pattern == '+' || *pattern == '#';
    if (n == 0 || (wild_first && *topic == '$'))
        return false;
    for (const char *rest = pattern; pattern_next(&rest, &level);) {
        if (level.kind == LEVEL_REST)
            return true; /* also the level above it, as MQTT has it */
        if (at == NULL)
            return false;
        const char *slash = memchr(at, '/', (size_t)(end - at));
        const char *stop = slash == NULL ? end : slash;
        if (!level_meets(&level, site, place, at, (size_t)(stop - at)))
            return false;
        at = slash == NULL ? NULL : slash + 1;
    }
    return at == NULL;
}

size_t pattern_captured(const char *pattern, enum place_kind kind, const char *topic, size_t n,
                        const char **id)
{
    const char *end = topic + n, *at = topic;
    struct pattern_level level;
    for (const char *rest = pattern; at != NULL && pattern_next(&rest, &level);) {
        const char *slash = memchr(at, '/', (size_t)(end - at));
        size_t len = (size_t)((slash == NULL ? end : slash) - at);
        if (level.kind == LEVEL_CAPTURE && level.capture == kind) {
            *id = at + level.before;
            return len > level.before + level.behind ? len - level.before - level.behind : 0;
        }
        at = slash == NULL ? NULL : slash + 1;
    }
    return 0;
}
