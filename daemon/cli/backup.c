/* lentic backup: a checked copy of the store while the service goes on. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_backup.h"
#include "cli/backup.h"
#include "cli/stretch.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

void backup_tell(const struct backup_facts *f, const char *file, const char *did, bool json)
{
    char newest[UTC_TEXT_MAX] = "none", buf[1024];
    if (utc_is_set(f->newest))
        utc_format(f->newest, newest, sizeof newest);
    if (!json) {
        printf("%s %s: %.1f MiB, %lld readings, the newest of %s, %lld changes of alerts, %lld notes.\n"
               "Read from end to end and found sound.\n",
               did, file, (double)f->bytes / 1048576, (long long)f->readings, newest,
               (long long)f->alert_changes, (long long)f->notes);
        return;
    }
    struct text t = text_over(buf, sizeof buf);
    json_open(&t, '{');
    json_key(&t, "file");
    json_string(&t, file);
    json_key(&t, "bytes");
    json_int(&t, f->bytes);
    json_key(&t, "readings");
    json_int(&t, f->readings);
    json_key(&t, "newest");
    json_time(&t, f->newest);
    json_key(&t, "alert_changes");
    json_int(&t, f->alert_changes);
    json_key(&t, "notes");
    json_int(&t, f->notes);
    json_key(&t, "layout");
    json_int(&t, f->version);
    json_close(&t, '}');
    puts(buf);
}

static int copy(const struct options *o, const char *from, const char *to, bool check, bool json)
{
    struct backup_facts facts = { 0 };
    struct why why;
    enum status st = check ? store_backup_check(to, &facts, &why) : store_backup(from, to, &facts, &why);
    if (st != STATUS_OK)
        return options_fail(o, st == STATUS_IO ? 3 : 1, "%s", why.text);
    backup_tell(&facts, to, check ? "Checked" : "Copied to", json);
    return 0;
}

int backup_main(int argc, char **argv)
{
    struct stretch_asked asked = { .conf = SUMS_CONF };
    bool check = false, json = false;
    const struct option items[] = {
        { "check", NULL, "only looks at a copy that is there", OPTION_FLAG, &check, 0, 0 },
        { "json", NULL, "one JSON object", OPTION_FLAG, &json, 0, 0 },
        STRETCH_STORE_OPTIONS(asked),
    };
    const struct options options = {
        .verb = "backup",
        .operands = "FILE",
        .about = "Copies the store into a new file as of one moment, while the service goes on writing, and\n"
                 "reads the copy from end to end before it gets its name.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more =
            "  lentic backup /media/stick/lentic-2026-03-01.db\n"
            "  lentic backup --check /media/stick/lentic-2026-03-01.db\n\n"
            "A copy is one plain file. Copying the store's file by hand while the service runs gives none.\n"
            "Exit codes: 0 copied and sound, 1 refused or not sound, 2 usage, 3 cannot read or write.",
    };
    const char *file = NULL, *path = NULL;
    struct site *site = NULL;
    int code = sums_read(&options, argc, argv, &file);
    if (code == OPTIONS_GO_ON && !check)
        code = stretch_store(&options, &asked, &path, &site);
    if (code == OPTIONS_GO_ON)
        code = copy(&options, path, file, check, json);
    site_free(site);
    return code;
}
