#include "adapters/mqtt_filters.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/files.h"

#define FILE_MAX ((size_t)1 << 20)

static void *must(void *p)
{
    if (p == NULL)
        abort();
    return p;
}

static int find(const struct mqtt_filters *list, const char *name)
{
    for (int i = 0; i < list->count; i++)
        if (strcmp(list->names[i], name) == 0)
            return i;
    return -1;
}

bool mqtt_filters_have(const struct mqtt_filters *list, const char *name)
{
    return find(list, name) >= 0;
}

void mqtt_filters_add(struct mqtt_filters *list, const char *name, int qos)
{
    int at = find(list, name);
    assert(at < list->count);
    if (at < 0) {
        size_t n = (size_t)list->count + 1;
        list->names = must(realloc(list->names, n * sizeof list->names[0]));
        list->qos = must(realloc(list->qos, n * sizeof list->qos[0]));
        at = list->count++;
        list->names[at] = must(strdup(name));
    }
    list->qos[at] = qos;
}

void mqtt_filters_add_all(struct mqtt_filters *list, const struct mqtt_filters *from)
{
    for (int i = 0; i < from->count; i++)
        mqtt_filters_add(list, from->names[i], from->qos[i]);
}

struct mqtt_filters mqtt_filters_without(const struct mqtt_filters *a, const struct mqtt_filters *b)
{
    struct mqtt_filters rest = { 0 };
    for (int i = 0; i < a->count; i++)
        if (!mqtt_filters_have(b, a->names[i]))
            mqtt_filters_add(&rest, a->names[i], a->qos[i]);
    return rest;
}

void mqtt_filters_fini(struct mqtt_filters *list)
{
    for (int i = 0; i < list->count; i++)
        free(list->names[i]);
    free(list->names);
    free(list->qos);
    *list = (struct mqtt_filters){ 0 };
}

void mqtt_filters_load(struct mqtt_filters *list, const char *path, const char *client_id)
{
    char *text = NULL, *rest = NULL;
    size_t n = 0;
    if (files_read(path, FILE_MAX, &text, &n, NULL) != STATUS_OK)
        return;
    char *line = strtok_r(text, "\n", &rest);
    if (line != NULL && strcmp(line, client_id) == 0)
        while ((line = strtok_r(NULL, "\n", &rest)) != NULL)
            mqtt_filters_add(list, line, 0);
    free(text);
}

enum status mqtt_filters_save(const struct mqtt_filters *list, const char *path, const char *client_id,
                              struct why *why)
{
    size_t n = strlen(client_id) + 1;
    for (int i = 0; i < list->count; i++)
        n += strlen(list->names[i]) + 1;
    char *text = must(malloc(n + 1)), *at = text;
    at = stpcpy(stpcpy(at, client_id), "\n");
    for (int i = 0; i < list->count; i++)
        at = stpcpy(stpcpy(at, list->names[i]), "\n");
    enum status status = files_write(path, text, n, 0600, why);
    free(text);
    return status;
}
