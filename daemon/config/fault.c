#include "config/fault.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

/* The pool holds the names one behind the other; the first is the file that was given. */
static const char *keep_name(struct config_faults *faults, const char *name)
{
    char *at = faults->names;
    char *end = faults->names + sizeof faults->names;
    if (name == NULL || *name == '\0')
        return at;
    for (; at < end && *at != '\0'; at += strlen(at) + 1)
        if (strcmp(at, name) == 0)
            return at;
    if (strlen(name) + 2 > (size_t)(end - at))
        return faults->names;
    return strcpy(at, name);
}

void fault_init(struct config_faults *faults, const char *path)
{
    memset(faults, 0, sizeof *faults);
    (void)snprintf(faults->names, sizeof faults->names - 1, "%s", path);
}

__attribute__((format(printf, 5, 0))) static void
add(struct config_faults *faults, const char *file, int line, bool warning, const char *format, va_list args)
{
    if (warning)
        faults->warnings++;
    else
        faults->errors++;
    if (faults->count == CONFIG_FAULTS_MAX)
        return;
    struct config_fault *fault = &faults->items[faults->count++];
    fault->file = keep_name(faults, file);
    fault->line = line;
    fault->warning = warning;
    (void)vsnprintf(fault->text, sizeof fault->text, format, args);
}

void fault_say(struct config_faults *faults, const struct config_setting_t *at, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    add(faults, config_setting_source_file(at), (int)config_setting_source_line(at), false, format, args);
    va_end(args);
}

void fault_warn(struct config_faults *faults, const struct config_setting_t *at, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    add(faults, config_setting_source_file(at), (int)config_setting_source_line(at), true, format, args);
    va_end(args);
}

void fault_at(struct config_faults *faults, const char *file, int line, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    add(faults, file, line, false, format, args);
    va_end(args);
}

static bool comes_behind(const struct config_fault *a, const struct config_fault *b)
{
    return a->file != b->file ? a->file > b->file : a->line > b->line;
}

/* Insertion keeps the order of those of one line. */
void fault_sort(struct config_faults *faults)
{
    for (int i = 1; i < faults->count; i++) {
        struct config_fault moved = faults->items[i];
        int k = i;
        for (; k > 0 && comes_behind(&faults->items[k - 1], &moved); k--)
            faults->items[k] = faults->items[k - 1];
        faults->items[k] = moved;
    }
}
