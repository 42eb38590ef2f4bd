#include <stdio.h>

#include "app/announcer.h"
#include "base/text.h"
#include "cli/check_broker.h"
#include "cli/options.h"
#include "cli/verbs.h"
#include "config/load.h"

#define OPERANDS_MAX  16
#define PATH_TEXT_MAX 1200

static void print_faults(const struct config_faults *faults)
{
    for (int i = 0; i < faults->count; i++) {
        const struct config_fault *fault = &faults->items[i];
        const char *grade = fault->warning ? "warning: " : "";
        if (fault->line > 0)
            printf("%s:%d: %s%s\n", fault->file, fault->line, grade, fault->text);
        else
            printf("%s: %s%s\n", fault->file, grade, fault->text);
    }
    int left_out = faults->errors + faults->warnings - faults->count;
    if (left_out > 0)
        printf("... and %d more\n", left_out);
}

static void print_summary(const char *path, const struct site *site, const struct config_faults *faults)
{
    if (site == NULL)
        printf("%s: %d fault%s\n", path, faults->errors, faults->errors == 1 ? "" : "s");
    else
        printf("%s: sound: %d tanks, %d waters, %d probe entries with %d values, %d possible alerts\n", path,
               site->tank_count, site->water_count, site->entry_count, site->stream_count, site->alert_count);
}

static void json_fault(struct text *out, const struct config_fault *fault)
{
    json_open(out, '{');
    json_key(out, "file");
    json_string(out, fault->file);
    json_key(out, "line");
    json_int(out, fault->line);
    json_key(out, "grade");
    json_string(out, fault->warning ? "warning" : "fault");
    json_key(out, "text");
    json_string(out, fault->text);
    json_close(out, '}');
}

static void json_counts(struct text *out, const struct site *site)
{
    const struct {
        const char *name;
        int count;
    } counts[] = { { "tanks", site->tank_count },
                   { "waters", site->water_count },
                   { "entries", site->entry_count },
                   { "streams", site->stream_count },
                   { "alerts", site->alert_count } };
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        json_key(out, counts[i].name);
        json_int(out, counts[i].count);
    }
}

static void print_json(const char *path, const struct site *site, const struct config_faults *faults)
{
    static char buf[CONFIG_FAULTS_MAX * (2 * sizeof(struct config_fault) + PATH_TEXT_MAX)];
    struct text out = text_over(buf, sizeof buf);
    json_open(&out, '{');
    json_key(&out, "file");
    json_string(&out, path);
    json_key(&out, "sound");
    json_bool(&out, site != NULL);
    json_key(&out, "errors");
    json_int(&out, faults->errors);
    json_key(&out, "warnings");
    json_int(&out, faults->warnings);
    if (site != NULL)
        json_counts(&out, site);
    json_key(&out, "faults");
    json_open(&out, '[');
    for (int i = 0; i < faults->count; i++)
        json_fault(&out, &faults->items[i]);
    json_close(&out, ']');
    json_close(&out, '}');
    puts(buf);
}

/* With --json the one object has been printed: the sentence goes to the error output, the answer is the code.
 */
static int try_broker(const struct site *site, bool json)
{
    struct why why = { "" };
    int subscriptions = 0;
    enum status st = check_broker(site, &subscriptions, &why);
    FILE *out = json ? stderr : stdout;
    fprintf(out, "broker %s:%d: ", site->broker.host, site->broker.port);
    if (st == STATUS_OK)
        fprintf(out, "it lets the service in, takes its %d subscriptions and hands back what it says\n",
                subscriptions);
    else
        fprintf(out, "%s\n", why.text);
    return st == STATUS_OK ? 0 : 3;
}

int check_main(int argc, char **argv)
{
    static struct config_faults faults;
    bool json = false, broker = false;
    const struct option items[] = {
        { "broker", NULL,
          "also tries the broker as the service would: whether it lets it in, takes what it\n"
          "subscribes to, and hands back what it says",
          OPTION_FLAG, &broker, 0, 0 },
        { "json", NULL, "one JSON object instead of lines", OPTION_FLAG, &json, 0, 0 },
    };
    const struct options options = {
        .verb = "check",
        .operands = "FILE",
        .about = "Reads a configuration as the daemon does and tells every fault with its line.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "Exit code 0: sound, warnings aside. 2: at fault, the daemon would refuse it.\n"
                "3: the broker is not reached, or does not allow it.",
    };
    const char *operands[OPERANDS_MAX];
    int count = 0;
    if (argc > OPERANDS_MAX)
        return options_fail(&options, 2, "too many words; one file is checked at a time");
    int go = options_read(&options, argc, argv, operands, &count);
    if (go != OPTIONS_GO_ON)
        return go;
    if (count != 1)
        return options_fail(&options, 2, "name one file to check");
    struct site *site = NULL;
    enum status st = announcer_load(operands[0], &site, &faults);
    if (json) {
        print_json(operands[0], site, &faults);
    } else {
        print_faults(&faults);
        print_summary(operands[0], site, &faults);
    }
    int code = st == STATUS_OK ? 0 : 2;
    if (code == 0 && broker)
        code = try_broker(site, json);
    site_free(site);
    return code;
}
