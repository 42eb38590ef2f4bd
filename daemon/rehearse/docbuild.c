#include "rehearse/docbuild.h"

#include <stdint.h>
#include <string.h>

/* Items that share all tokens so far; at[i] is what is left of the pointer of items[i]. */
struct level {
    const struct doc_item *items[DOC_ITEMS_MAX];
    const char *at[DOC_ITEMS_MAX];
    int count;
};

/* NULL when there is no room left. */
static struct doc_item *item_add(struct doc *d, const char *pointer, enum doc_kind kind)
{
    if (d->count == DOC_ITEMS_MAX)
        return NULL;
    struct doc_item *item = &d->items[d->count++];
    *item = (struct doc_item){ .pointer = pointer, .kind = kind };
    return item;
}

void doc_number(struct doc *d, const char *pointer, double number, int decimals)
{
    struct doc_item *item = item_add(d, pointer, DOC_NUMBER);
    if (item == NULL)
        return;
    item->number = number;
    item->decimals = decimals;
}

void doc_string(struct doc *d, const char *pointer, const char *string)
{
    struct doc_item *item = item_add(d, pointer, DOC_STRING);
    if (item != NULL)
        memcpy(item->string, string, strnlen(string, DOC_TEXT_MAX - 1));
}

void doc_null(struct doc *d, const char *pointer)
{
    (void)item_add(d, pointer, DOC_NULL);
}

static void put_value(const struct doc_item *item, struct text *out)
{
    switch (item->kind) {
    case DOC_NUMBER:
        json_number(out, item->number, item->decimals);
        break;
    case DOC_STRING:
        json_string(out, item->string);
        break;
    case DOC_NULL:
        json_null(out);
        break;
    }
}

/* The next token behind the slash at s. */
static size_t token_len(const char *s)
{
    return strcspn(s + 1, "/");
}

static bool same_token(const char *a, const char *b)
{
    size_t n = token_len(a);
    return n == token_len(b) && memcmp(a, b, n + 1) == 0;
}

static void put_key(const char *at, struct text *out)
{
    char key[DOC_TEXT_MAX];
    struct text name = text_over(key, sizeof key);
    size_t n = token_len(at);
    for (size_t i = 1; i <= n; i++) {
        char c = at[i];
        if (c == '~' && i < n)
            c = at[++i] == '1' ? '/' : '~';
        text_put_n(&name, &c, 1);
    }
    json_key(out, key);
}

/* Index in an array, -1 when the token is none (or so large that the array would be absurd). */
static int token_index(const char *at)
{
    size_t n = token_len(at);
    int index = 0;
    if (n == 0 || n > 2 || (n > 1 && at[1] == '0'))
        return -1;
    for (size_t i = 1; i <= n; i++) {
        if (at[i] < '0' || at[i] > '9')
            return -1;
        index = index * 10 + (at[i] - '0');
    }
    return index;
}

static struct level level_below(const struct level *l, const char *token)
{
    struct level below = { .count = 0 };
    for (int i = 0; i < l->count; i++)
        if (l->at[i][0] == '/' && same_token(l->at[i], token)) {
            below.items[below.count] = l->items[i];
            below.at[below.count++] = l->at[i] + 1 + token_len(token);
        }
    return below;
}

static bool token_seen(const struct level *l, int i)
{
    for (int j = 0; j < i; j++)
        if (l->at[j][0] == '/' && same_token(l->at[j], l->at[i]))
            return true;
    return false;
}

static void write_level(const struct level *l, struct text *out);

static void write_array(const struct level *l, int last, struct text *out)
{
    json_open(out, '[');
    for (int index = 0; index <= last; index++) {
        int found = 0;
        while (found < l->count && token_index(l->at[found]) != index)
            found++;
        if (found == l->count) {
            json_null(out);
            continue;
        }
        struct level below = level_below(l, l->at[found]);
        write_level(&below, out);
    }
    json_close(out, ']');
}

static void write_object(const struct level *l, struct text *out)
{
    json_open(out, '{');
    for (int i = 0; i < l->count; i++) {
        if (l->at[i][0] != '/' || token_seen(l, i))
            continue;
        put_key(l->at[i], out);
        struct level below = level_below(l, l->at[i]);
        write_level(&below, out);
    }
    json_close(out, '}');
}

static void write_level(const struct level *l, struct text *out)
{
    int last = -1;
    if (l->count == 0 || l->at[0][0] != '/') {
        if (l->count > 0)
            put_value(l->items[0], out);
        return;
    }
    for (int i = 0; i < l->count; i++) {
        int index = l->at[i][0] == '/' ? token_index(l->at[i]) : -1;
        if (index < 0) {
            write_object(l, out);
            return;
        }
        last = index > last ? index : last;
    }
    write_array(l, last, out);
}

void doc_write(const struct doc *d, struct text *out)
{
    struct level top = { .count = 0 };
    for (; top.count < d->count; top.count++) {
        top.items[top.count] = &d->items[top.count];
        top.at[top.count] = d->items[top.count].pointer;
    }
    write_level(&top, out);
}

void doc_write_listed(const struct doc *d, const char *list_at, struct text *out)
{
    int depth = 0;
    for (const char *at = list_at; *at == '/'; at += 1 + token_len(at), depth++) {
        json_open(out, '{');
        put_key(at, out);
    }
    json_open(out, '[');
    doc_write(d, out);
    json_close(out, ']');
    while (depth-- > 0)
        json_close(out, '}');
}
