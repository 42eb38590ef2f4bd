#include <stdio.h>
#include <string.h>

#include "base/nearest.h"
#include "cli/options.h"
#include "cli/verbs.h"
#include "show/width.h"

#define ABOUT_INDENT 13

struct verb {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *about;
};

#define VERB_ROW(name, about) { #name, name##_main, about },
static const struct verb verbs[] = { VERBS(VERB_ROW){ NULL, NULL, NULL } };

static void put_wrapped(FILE *out, const char *words, int indent)
{
    char buf[512];
    struct text t = text_over(buf, sizeof buf);
    width_wrap(&t, words, options_columns(), indent, indent);
    (void)fputs(buf, out);
}

static int print_help(FILE *out)
{
    (void)fputs("lentic keeps the water of many small tanks even; lenticd is the service.\n\n"
                "lentic VERB [OPTION]...\n\n",
                out);
    for (const struct verb *v = verbs; v->name != NULL; v++) {
        (void)fprintf(out, "  %-10s ", v->name);
        put_wrapped(out, v->about, ABOUT_INDENT);
    }
    (void)fputs("\nlentic VERB --help tells more; lentic --version names the version.\n"
                "Exit codes: 0 done, 1 the answer is no, 2 usage or configuration,\n"
                "3 cannot reach broker or store.\n",
                out);
    return 0;
}

static int unknown_verb(const char *word)
{
    const char *names[sizeof verbs / sizeof verbs[0]] = { NULL };
    size_t count = 0;
    for (const struct verb *v = verbs; v->name != NULL; v++)
        names[count++] = v->name;
    const char *near = nearest_of(word, names, count);
    if (near != NULL)
        (void)fprintf(stderr, "lentic: there is no verb \"%.40s\"; did you mean \"%s\"?\n", word, near);
    else
        (void)fprintf(stderr, "lentic: there is no verb \"%.40s\"; lentic --help lists them\n", word);
    return 2;
}

int main(int argc, char **argv)
{
    const char *word = argc > 1 ? argv[1] : NULL;
    if (word == NULL) {
        (void)print_help(stderr);
        return 2;
    }
    if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0 || strcmp(word, "help") == 0)
        return print_help(stdout);
    if (strcmp(word, "--version") == 0) {
        printf("lentic %s\n", LENTIC_VERSION);
        return 0;
    }
    for (const struct verb *v = verbs; v->name != NULL; v++)
        if (strcmp(word, v->name) == 0)
            return v->run(argc - 1, argv + 1);
    return unknown_verb(word);
}
