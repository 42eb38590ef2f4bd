#include "wire/json.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "base/utf8.h"

/* A replaced token grows by two quotes at most, and the shortest one has one byte with a neighbour that
 * stays. */
#define MENDED_MAX (2 * JSON_DOC_BYTES_MAX)
#define KEY_MAX    256

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static bool ends_token(char c)
{
    return is_blank(c) || strchr("{}[],:\"", c) != NULL;
}

static void strip(const char **s, size_t *n)
{
    if (*n >= 3 && memcmp(*s, "\xEF\xBB\xBF", 3) == 0) {
        *s += 3;
        *n -= 3;
    }
    if (*n > 0 && (*s)[*n - 1] == '\0')
        (*n)--;
    while (*n > 0 && is_blank((*s)[*n - 1]))
        (*n)--;
    while (*n > 0 && is_blank(**s)) {
        (*s)++;
        (*n)--;
    }
}

/* The index behind the string that opens at at; n when it is not closed. */
static size_t string_end(const char *s, size_t n, size_t at)
{
    for (at++; at < n && s[at] != '"'; at++)
        if (s[at] == '\\')
            at++;
    return at < n ? at + 1 : n;
}

static bool is_too_deep(const char *s, size_t n)
{
    int depth = 0;
    for (size_t at = 0; at < n; at++) {
        if (s[at] == '"')
            at = string_end(s, n, at) - 1;
        else if ((s[at] == '{' || s[at] == '[') && ++depth > JSON_DOC_DEPTH_MAX)
            return true;
        else if (s[at] == '}' || s[at] == ']')
            depth--;
    }
    return false;
}

static bool word_is(const char *s, size_t n, const char *lower)
{
    return n == strlen(lower) && strncasecmp(s, lower, n) == 0;
}

static bool is_not_finite(const char *s, size_t n)
{
    size_t sign = n > 0 && (*s == '-' || *s == '+') ? 1 : 0;
    s += sign;
    n -= sign;
    return word_is(s, n, "nan") || word_is(s, n, "inf") || word_is(s, n, "infinity");
}

/* More digits than 64 bits hold: as text it can still be compared to the last of them. */
static bool is_too_long(const char *s, size_t n)
{
    int64_t whole;
    for (size_t i = *s == '-'; i < n; i++)
        if (s[i] < '0' || s[i] > '9')
            return false;
    return !number_whole(s, n, &whole);
}

static bool is_json_token(const char *s, size_t n)
{
    double v;
    return (n == 4 && memcmp(s, "true", 4) == 0) || (n == 5 && memcmp(s, "false", 5) == 0) ||
           (n == 4 && memcmp(s, "null", 4) == 0) ||
           (number_parse(s, n, NUMBER_JSON, &v) == STATUS_OK && !is_too_long(s, n));
}

/* A bare word before a colon is a key: such a text is not JSON, and no guess is made. */
static bool stands_for_a_key(const char *s, size_t n, size_t behind)
{
    while (behind < n && is_blank(s[behind]))
        behind++;
    return behind < n && s[behind] == ':';
}

struct mended {
    char bytes[MENDED_MAX];
    size_t len;
};

static bool put(struct mended *m, const char *s, size_t n)
{
    if (sizeof m->bytes - m->len < n)
        return false;
    memcpy(m->bytes + m->len, s, n);
    m->len += n;
    return true;
}

/* A string whose bytes are not UTF-8 is taken as Latin-1, which is what old devices send a degree sign in. */
static bool put_string(struct mended *m, const char *s, size_t n)
{
    for (size_t at = 0; at < n;) {
        size_t whole = utf8_bytes(s + at, n - at);
        unsigned char c = (unsigned char)s[at];
        const char latin[2] = { (char)(0xC0 | (c >> 6)), (char)(0x80 | (c & 0x3F)) };
        if (!(whole > 0 ? put(m, s + at, whole) : put(m, latin, 2)))
            return false;
        at += whole > 0 ? whole : 1;
    }
    return true;
}

static bool put_token(struct mended *m, const char *s, size_t n)
{
    if (is_json_token(s, n))
        return put(m, s, n);
    if (is_not_finite(s, n))
        return put(m, "null", 4);
    return memchr(s, '\\', n) == NULL && put(m, "\"", 1) && put(m, s, n) && put(m, "\"", 1);
}

static bool mend(const char *s, size_t n, struct mended *m)
{
    m->len = 0;
    for (size_t at = 0; at < n;) {
        size_t end = at + 1;
        if (s[at] == '"')
            end = string_end(s, n, at);
        else if (!ends_token(s[at]))
            while (end < n && !ends_token(s[end]))
                end++;
        bool is_word = !ends_token(s[at]) && !stands_for_a_key(s, n, end);
        bool done = is_word        ? put_token(m, s + at, end - at)
                    : s[at] == '"' ? put_string(m, s + at, end - at)
                                   : put(m, s + at, end - at);
        if (!done)
            return false;
        at = end;
    }
    return true;
}

static json_t *load(const char *s, size_t n, json_error_t *error)
{
    return json_loadb(s, n, JSON_REJECT_DUPLICATES | JSON_ALLOW_NUL, error);
}

enum status json_doc_parse(const char *s, size_t n, struct json_doc *out, struct why *why)
{
    out->root = NULL;
    if (n > JSON_DOC_BYTES_MAX)
        return why_say(why, STATUS_INVALID, "the document is longer than %d bytes", JSON_DOC_BYTES_MAX);
    strip(&s, &n);
    if (n == 0 || (*s != '{' && *s != '['))
        return why_say(why, STATUS_INVALID, "this is not a JSON object");
    if (is_too_deep(s, n))
        return why_say(why, STATUS_INVALID, "the document nests deeper than %d levels", JSON_DOC_DEPTH_MAX);
    json_error_t error;
    struct mended mended;
    out->root = load(s, n, &error);
    if (out->root != NULL)
        return STATUS_OK;
    json_error_t second;
    if (mend(s, n, &mended))
        out->root = load(mended.bytes, mended.len, &second);
    if (out->root != NULL)
        return STATUS_OK;
    return why_say(why, STATUS_INVALID, "this is not JSON: %s at byte %d", error.text, error.position);
}

void json_doc_fini(struct json_doc *doc)
{
    json_decref(doc->root);
    doc->root = NULL;
}

bool json_pointer_is_sound(const char *pointer)
{
    if (*pointer != '\0' && *pointer != '/')
        return false;
    for (const char *p = pointer; (p = strchr(p, '~')) != NULL; p++)
        if (p[1] != '0' && p[1] != '1')
            return false;
    return true;
}

/* One reference token without its escapes. Returns where it ends, NULL when it is too long to be a key. */
static const char *next_key(const char *from, char key[KEY_MAX])
{
    size_t n = 0;
    for (; *from != '\0' && *from != '/'; from++) {
        if (n + 1 >= KEY_MAX)
            return NULL;
        bool escaped = *from == '~' && (from[1] == '0' || from[1] == '1');
        if (escaped)
            from++;
        key[n++] = escaped ? (*from == '0' ? '~' : '/') : *from;
    }
    key[n] = '\0';
    return from;
}

/* RFC 6901, section 4: digits only, no leading zero; "-" is the place behind the last and holds nothing. */
static json_t *element(const json_t *array, const char *token, size_t n)
{
    size_t index = 0;
    if (n == 0 || n > 6 || (n > 1 && token[0] == '0'))
        return NULL;
    for (size_t i = 0; i < n; i++) {
        if (token[i] < '0' || token[i] > '9')
            return NULL;
        index = index * 10 + (size_t)(token[i] - '0');
    }
    return json_array_get(array, index);
}

static struct json_item item_of(const json_t *v)
{
    struct json_item item = { .kind = JSON_KIND_NONE };
    if (v == NULL)
        return item;
    switch (json_typeof(v)) {
    case JSON_NULL:
        item.kind = JSON_KIND_NULL;
        break;
    case JSON_TRUE:
    case JSON_FALSE:
        item.kind = JSON_KIND_BOOL;
        item.number = json_is_true(v) ? 1 : 0;
        break;
    case JSON_INTEGER:
        item.is_whole = true;
        item.whole = json_integer_value(v);
        __attribute__((fallthrough));
    case JSON_REAL:
        item.kind = JSON_KIND_NUMBER;
        item.number = json_number_value(v);
        break;
    case JSON_STRING:
        item.kind = JSON_KIND_TEXT;
        item.text = json_string_value(v);
        item.text_len = json_string_length(v);
        break;
    case JSON_OBJECT:
    case JSON_ARRAY:
        item.kind = JSON_KIND_CONTAINER;
        break;
    }
    return item;
}

static json_t *node_at(const struct json_doc *doc, const char *pointer)
{
    json_t *v = doc->root;
    char key[KEY_MAX];
    while (v != NULL && *pointer != '\0') {
        const char *token = pointer + 1;
        pointer = *pointer == '/' ? next_key(token, key) : NULL;
        if (pointer == NULL)
            return NULL;
        v = json_is_array(v) ? element(v, token, (size_t)(pointer - token)) : json_object_get(v, key);
    }
    return v;
}

struct json_item json_doc_at(const struct json_doc *doc, const char *pointer)
{
    return item_of(node_at(doc, pointer));
}

bool json_doc_is_object(const struct json_doc *doc)
{
    return json_is_object((const json_t *)doc->root);
}

bool json_doc_is_list(const struct json_doc *doc, const char *pointer)
{
    return json_is_array(node_at(doc, pointer));
}

bool json_doc_element(const struct json_doc *doc, const char *pointer, size_t index, struct json_doc *out)
{
    json_t *list = node_at(doc, pointer);
    out->root = json_array_get(list, index); /* NULL for what is no array */
    void *member = json_is_object(list) ? json_object_iter(list) : NULL;
    while (member != NULL && index-- > 0)
        member = json_object_iter_next(list, member);
    if (member != NULL)
        out->root = json_object_iter_value(member);
    return out->root != NULL;
}

const char *json_doc_key(const struct json_doc *doc, const char *pointer, size_t index)
{
    json_t *object = node_at(doc, pointer);
    void *at = json_object_iter(object);
    while (at != NULL && index-- > 0)
        at = json_object_iter_next(object, at);
    return at == NULL ? NULL : json_object_iter_key(at);
}

struct walk {
    void (*each)(void *context, const char *pointer, const struct json_item *item);
    void *context;
    char pointer[JSON_WALK_POINTER_MAX];
};

/* Appends "/key" with its escapes. Returns the new length, 0 when it does not fit. */
static size_t append_key(char *pointer, size_t n, const char *key)
{
    if (n + 1 >= JSON_WALK_POINTER_MAX)
        return 0;
    pointer[n++] = '/';
    for (; *key != '\0'; key++) {
        bool escaped = *key == '~' || *key == '/';
        if (n + 1 + escaped >= JSON_WALK_POINTER_MAX)
            return 0;
        if (escaped)
            pointer[n++] = '~';
        pointer[n++] = *key == '~' ? '0' : *key == '/' ? '1' : *key;
    }
    pointer[n] = '\0';
    return n;
}

void json_doc_pointer(const char *key, char *buf, size_t cap)
{
    char pointer[JSON_WALK_POINTER_MAX];
    size_t n = append_key(pointer, 0, key);
    snprintf(buf, cap, "%s", n > 0 && n < cap ? pointer : "");
}

/* Bounded by JSON_DOC_DEPTH_MAX. */
static void walk_into(struct walk *w, json_t *v, size_t n)
{
    if (json_is_object(v)) {
        for (void *at = json_object_iter(v); at != NULL; at = json_object_iter_next(v, at)) {
            size_t longer = append_key(w->pointer, n, json_object_iter_key(at));
            if (longer > 0)
                walk_into(w, json_object_iter_value(at), longer);
        }
    } else if (json_is_array(v)) {
        for (size_t i = 0; i < json_array_size(v); i++) {
            char index[24];
            snprintf(index, sizeof index, "%zu", i);
            size_t longer = append_key(w->pointer, n, index);
            if (longer > 0)
                walk_into(w, json_array_get(v, i), longer);
        }
    } else {
        struct json_item item = item_of(v);
        w->pointer[n] = '\0';
        w->each(w->context, w->pointer, &item);
    }
}

void json_doc_walk(const struct json_doc *doc,
                   void (*each)(void *context, const char *pointer, const struct json_item *item),
                   void *context)
{
    struct walk w = { .each = each, .context = context };
    if (doc->root != NULL)
        walk_into(&w, doc->root, 0);
}

void json_doc_text(const struct json_doc *doc, const char *pointer, char *buf, size_t cap)
{
    struct json_item item = json_doc_at(doc, pointer);
    snprintf(buf, cap, "%s", item.kind == JSON_KIND_TEXT ? item.text : "");
}

utc_t json_doc_time(const struct json_doc *doc, const char *pointer)
{
    struct json_item item = json_doc_at(doc, pointer);
    utc_t t;
    bool zoned;
    if (item.kind != JSON_KIND_TEXT || utc_parse(item.text, item.text_len, &t, &zoned) != STATUS_OK)
        return UTC_NONE;
    return t;
}
