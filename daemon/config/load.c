#include "config/load.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <libconfig.h>

#include "config/announcements.h"
#include "config/fault.h"
#include "config/keys.h"
#include "config/kinds.h"
#include "config/overrides.h"
#include "config/places.h"
#include "config/planning.h"
#include "config/probes.h"
#include "config/scan.h"
#include "config/settings.h"
#include "config/tanks.h"
#include "config/waters.h"

#define PATH_TEXT_MAX 1024

/* In the order in which they lean on each other; the file may have them in any. */
static const struct {
    const char *name;
    void (*read)(struct loader *ld, const struct config_setting_t *at);
} sections[] = {
    { "site", settings_site },
    { "broker", settings_broker },
    { "store", settings_store },
    { "publish", settings_publish },
    { "notify", settings_notify },
    { "commands", settings_commands },
    { "announcements", announcements_list },
    { "plan", planning_plan },
    { "sources", places_sources },
    { "salts", waters_salts },
    { "waters", waters_waters },
    { "stores", places_stores },
    { "kits", waters_kits },
    { "stocks", waters_stocks },
    { "tanks", tanks_list },
    { "probe_kinds", kinds_list },
    { "probes", probes_list },
    { "alerts", NULL /* last, when the slots are there */ },
};
#define SECTIONS (sizeof sections / sizeof *sections)

static void check_section_names(struct loader *ld)
{
    const char *known[SECTIONS];
    char hint[KEYS_HINT_MAX];
    for (size_t i = 0; i < SECTIONS; i++)
        known[i] = sections[i].name;
    for (int i = 0; i < config_setting_length(ld->root); i++) {
        const struct config_setting_t *at = config_setting_get_elem(ld->root, (unsigned)i);
        const char *name = config_setting_name(at);
        bool found = false;
        for (size_t k = 0; k < SECTIONS && !found; k++)
            found = strcmp(known[k], name) == 0;
        if (!found)
            fault_say(ld->faults, at, "unknown key \"%.40s\" at the top of the file%s", name,
                      keys_hint(name, known, SECTIONS, hint));
    }
}

static void check_minimum(struct loader *ld)
{
    static const char least[] =
        "the least that a file needs is site = { id = \"home\"; }; and tanks = ( { id = "
        "\"a1\"; volume_l = 30.0; } );";
    const struct config_setting_t *tanks = config_setting_get_member(ld->root, "tanks");
    if (config_setting_get_member(ld->root, "site") == NULL)
        fault_at(ld->faults, NULL, 0, "there is no site; %s", least);
    if (tanks == NULL || (config_setting_is_list(tanks) && config_setting_length(tanks) == 0))
        fault_at(ld->faults, NULL, 0, "there is no tank; %s", least);
    else if (ld->faults->errors == 0 && ld->site->entry_count == 0)
        fault_warn(ld->faults, tanks, "there are no probes: nothing will be heard of these tanks");
}

/* libconfig's few words made into a sentence. */
static const char *parse_sentence(const char *text)
{
    if (text == NULL)
        return "the text is nested too deeply to be read";
    if (strcmp(text, "duplicate setting name") == 0)
        return "this key stands twice in its group, or a whole section stands twice in the file";
    if (strcmp(text, "mismatched element type in array") == 0)
        return "the numbers of an array [ ] must all be written alike: [20.0, 24.5] instead of [20, 24.5]";
    if (strcmp(text, "syntax error") == 0)
        return "this cannot be read; look here and in the line above for a missing ; or \", a bracket that "
               "does not "
               "pair, or a decimal comma";
    return text;
}

static bool parse(config_t *file, const char *path, struct config_faults *faults)
{
    char dir[PATH_TEXT_MAX];
    const char *slash = strrchr(path, '/');
    int n = slash == NULL ? snprintf(dir, sizeof dir, ".")
                          : snprintf(dir, sizeof dir, "%.*s", slash == path ? 1 : (int)(slash - path), path);
    if (n >= (int)sizeof dir) {
        fault_at(faults, NULL, 0, "the path is too long");
        return false;
    }
    if (scan_check(path, dir, faults) != STATUS_OK)
        return false;
    config_set_include_dir(file, dir);
    if (config_read_file(file, path) == CONFIG_TRUE)
        return true;
    fault_at(faults, config_error_file(file), config_error_line(file), "%s",
             parse_sentence(config_error_text(file)));
    return false;
}

static void build(struct loader *ld)
{
    struct site *site = ld->site;
    const struct config_setting_t *at;
    settings_defaults(site);
    check_section_names(ld);
    places_init(ld);
    for (size_t i = 0; i < SECTIONS; i++)
        if (sections[i].read != NULL && (at = config_setting_get_member(ld->root, sections[i].name)) != NULL)
            sections[i].read(ld, at);
    settings_complete(ld);
    check_minimum(ld);
    site_derive_streams(site);
    probes_check_streams(ld);
    site_derive_alerts(site);
    at = config_setting_get_member(ld->root, "alerts");
    if (at != NULL)
        overrides_list(ld, at);
}

enum status config_load(const char *path, struct site **out, struct config_faults *faults)
{
    config_t file;
    *out = NULL;
    fault_init(faults, path);
    struct site *site = calloc(1, sizeof *site);
    if (site == NULL)
        abort();
    config_init(&file);
    bool parsed = parse(&file, path, faults);
    if (parsed) {
        struct loader ld = { .site = site, .faults = faults, .root = config_root_setting(&file) };
        build(&ld);
    }
    config_destroy(&file);
    fault_sort(faults);
    if (faults->errors > 0) {
        site_free(site);
        return !parsed && faults->count == 1 && faults->items[0].line == 0 ? STATUS_IO : STATUS_INVALID;
    }
    *out = site;
    return STATUS_OK;
}

void site_free(struct site *site)
{
    if (site == NULL)
        return;
    site_fini(site);
    free(site);
}
