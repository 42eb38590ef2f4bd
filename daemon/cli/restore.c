/* lentic restore: a checked copy in the place of the store. */
#include <stdio.h>
#include <unistd.h>

#include "adapters/files.h"
#include "cli/backup.h"
#include "cli/stretch.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

static int put_back(const struct options *o, const char *copy, const char *path, bool json)
{
    struct backup_facts facts = { 0 };
    struct why why;
    char lock[600], aside[600];
    int fd = -1;
    snprintf(lock, sizeof lock, "%s.lock", path);
    enum status st = files_lock(lock, &fd, &why);
    if (st == STATUS_REFUSED)
        return options_fail(o, 1, "the service runs on %s (%s): stop it first (systemctl stop lenticd)", path,
                            why.text);
    if (st == STATUS_OK)
        st = store_restore(copy, path, aside, sizeof aside, &facts, &why);
    if (fd >= 0)
        close(fd);
    if (st != STATUS_OK)
        return options_fail(o, st == STATUS_IO ? 3 : 1, "%s; the store in place is as it was", why.text);
    backup_tell(&facts, path, "Restored", json);
    if (!json && aside[0] != '\0')
        printf("The store that was there is now %s; delete it when you are sure.\n", aside);
    if (!json && aside[0] == '\0' && geteuid() == 0)
        printf("There was no store to take the owner from: give %s to the service's user (chown lentic:).\n",
               path);
    return 0;
}

int restore_main(int argc, char **argv)
{
    struct stretch_asked asked = { .conf = SUMS_CONF };
    bool json = false;
    const struct option items[] = {
        { "json", NULL, "one JSON object", OPTION_FLAG, &json, 0, 0 },
        STRETCH_STORE_OPTIONS(asked),
    };
    const struct options options = {
        .verb = "restore",
        .operands = "FILE",
        .about =
            "Puts a copy made by `lentic backup` in the place of the store. The copy is read from end to\n"
            "end first; the store that is there is renamed with all that belongs to it, never deleted.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more =
            "  systemctl stop lenticd\n  lentic restore /media/stick/lentic-2026-03-01.db\n"
            "  systemctl start lenticd\n\n"
            "Exit codes: 0 restored, 1 refused (the service runs, the copy is not sound), 2 usage, 3 cannot\n"
            "read or write.",
    };
    const char *file = NULL, *path = NULL;
    struct site *site = NULL;
    int code = sums_read(&options, argc, argv, &file);
    if (code == OPTIONS_GO_ON)
        code = stretch_store(&options, &asked, &path, &site);
    if (code == OPTIONS_GO_ON)
        code = put_back(&options, file, path, json);
    site_free(site);
    return code;
}
