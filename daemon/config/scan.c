#include "config/scan.h"

#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "config/fault.h"

#define INCLUDE_DEPTH_MAX 8
#define FILE_BYTES_MAX    (4L << 20)
#define PATH_TEXT_MAX     1024

struct scan {
    const char *dir;
    struct config_faults *faults;
    const char *file; /* as shown */
    const char *at;
    int line;
    int depth;
};

static void scan_file(struct scan *outer, const char *path, const char *shown, int from_line);

/* Moves past one character, counting lines. */
static void step(struct scan *s)
{
    s->line += *s->at == '\n';
    s->at++;
}

static void skip_line(struct scan *s)
{
    while (*s->at != '\0' && *s->at != '\n')
        s->at++;
}

static void skip_comment(struct scan *s)
{
    int from = s->line;
    s->at += 2;
    while (*s->at != '\0' && !(s->at[0] == '*' && s->at[1] == '/'))
        step(s);
    if (*s->at == '\0')
        fault_at(s->faults, s->file, from, "this comment has no end: */ is missing");
    else
        s->at += 2;
}

static void skip_string(struct scan *s)
{
    int from = s->line;
    s->at++;
    while (*s->at != '\0' && *s->at != '"') {
        if (*s->at == '\\' && s->at[1] != '\0')
            s->at++;
        step(s);
    }
    if (*s->at == '\0')
        fault_at(s->faults, s->file, from, "this text has no end: the closing \" is missing");
    else
        s->at++;
}

/* A word or number; only decimal whole numbers need a look. */
static void skip_token(struct scan *s)
{
    const char *from = s->at;
    size_t digits = strspn(from, "0123456789");
    while (isalnum((unsigned char)*s->at) || strchr("_-*.", *s->at) != NULL) {
        if (*s->at == '\0')
            break;
        bool exponent = (*s->at == 'e' || *s->at == 'E') && digits > 0;
        s->at++;
        if (exponent && *s->at == '+')
            s->at++;
    }
    size_t len = (size_t)(s->at - from);
    if (digits == len && digits > 0 && (digits > 10 || strtoll(from, NULL, 10) > 2147483647LL))
        fault_at(s->faults, s->file, s->line, "%.*s is too large a whole number here (at most 2147483647)",
                 len > 40 ? 40 : (int)len, from);
}

static void take_include(struct scan *s)
{
    const char *open = strchr(s->at, '"');
    const char *close = open == NULL ? NULL : strchr(open + 1, '"');
    const char *newline = strchr(s->at, '\n');
    if (close == NULL || (newline != NULL && newline < close)) {
        fault_at(s->faults, s->file, s->line, "write it as @include \"FILE\"");
        skip_line(s);
        return;
    }
    char name[PATH_TEXT_MAX], path[PATH_TEXT_MAX];
    (void)snprintf(name, sizeof name, "%.*s", (int)(close - open - 1), open + 1);
    int n = snprintf(path, sizeof path, "%s/%s", s->dir, name);
    if (*name == '/')
        fault_at(s->faults, s->file, s->line,
                 "\"%.80s\" must be named from the directory of the main file, without a leading /", name);
    else if (n >= (int)sizeof path)
        fault_at(s->faults, s->file, s->line, "the name of the included file is too long");
    else
        scan_file(s, path, name, s->line);
    skip_line(s);
}

static void scan_text(struct scan *s)
{
    while (*s->at != '\0') {
        if (*s->at == '#' || (s->at[0] == '/' && s->at[1] == '/'))
            skip_line(s);
        else if (s->at[0] == '/' && s->at[1] == '*')
            skip_comment(s);
        else if (*s->at == '"')
            skip_string(s);
        else if (strncmp(s->at, "@include", 8) == 0)
            take_include(s);
        else if (isalnum((unsigned char)*s->at))
            skip_token(s);
        else
            step(s);
    }
}

static char *read_whole(const char *path, const char **error)
{
    struct stat info;
    FILE *f = fopen(path, "r");
    char *text = NULL;
    *error = "it cannot be read";
    if (f == NULL) {
        *error = strerror(errno);
        return NULL;
    }
    if (fstat(fileno(f), &info) != 0 || !S_ISREG(info.st_mode)) {
        *error = "it is not a regular file";
    } else if (info.st_size > FILE_BYTES_MAX) {
        *error = "it is larger than 4 MiB";
    } else if ((text = calloc(1, (size_t)info.st_size + 1)) != NULL) {
        size_t n = fread(text, 1, (size_t)info.st_size, f);
        if (ferror(f) != 0 || memchr(text, '\0', n) != NULL) {
            *error = "it is not a text file";
            free(text);
            text = NULL;
        }
    }
    (void)fclose(f);
    return text;
}

static void scan_file(struct scan *outer, const char *path, const char *shown, int from_line)
{
    if (outer->depth > INCLUDE_DEPTH_MAX) {
        fault_at(outer->faults, outer->file, from_line, "includes go deeper than %d files",
                 INCLUDE_DEPTH_MAX);
        return;
    }
    const char *error;
    char *text = read_whole(path, &error);
    if (text == NULL) {
        fault_at(outer->faults, outer->file, from_line, "cannot read \"%s\": %s", shown, error);
        return;
    }
    struct scan inner = *outer;
    inner.file = shown;
    inner.at = text;
    inner.line = 1;
    inner.depth++;
    scan_text(&inner);
    free(text);
}

enum status scan_check(const char *path, const char *dir, struct config_faults *faults)
{
    const char *error;
    char *text = read_whole(path, &error);
    if (text == NULL) {
        fault_at(faults, NULL, 0, "cannot read \"%s\": %s", path, error);
        return STATUS_IO;
    }
    struct scan top = { .dir = dir, .faults = faults, .file = path, .at = text, .line = 1, .depth = 1 };
    scan_text(&top);
    free(text);
    return faults->errors == 0 ? STATUS_OK : STATUS_INVALID;
}
