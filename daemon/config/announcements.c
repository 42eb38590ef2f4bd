#include "config/announcements.h"

#include <string.h>

#include <libconfig.h>

#include "model/announcement.h"

#define TEMPLATE_MAX 4096

static void read_template(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                          void *target)
{
    const char *s = config_setting_get_string(at);
    (void)key;
    if (s == NULL || *s == '\0' || strlen(s) > TEMPLATE_MAX)
        fault_say(ld->faults, at,
                  "%s takes text in quotes, 1 to %d bytes; several \"...\" \"...\" are joined",
                  config_setting_name(at), TEMPLATE_MAX);
    else
        *(const char **)target = keys_keep(ld, s);
}

static void check(struct loader *ld, const struct config_setting_t *each, const struct announcement *a)
{
    struct why why = { "" };
    if (announcement_check_topic(a->scope, a->topic, &why) != STATUS_OK)
        fault_say(ld->faults, config_setting_get_member(each, "topic"), "topic: %s", why.text);
    if (announcement_check_payload(a->scope, a->payload, &why) != STATUS_OK)
        fault_say(ld->faults, config_setting_get_member(each, "payload"), "payload: %s", why.text);
    if (a->quantity != Q_COUNT && a->scope != ANNOUNCE_QUANTITY)
        fault_say(ld->faults, each, "quantity goes with for = \"quantity\" only");
}

void announcements_list(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct announcement, field)
    static const struct key rows[] = {
        { .name = "topic", .type = KEY_APPLY, .into = INTO(topic), .required = true, .apply = read_template },
        { .name = "payload",
          .type = KEY_APPLY,
          .into = INTO(payload),
          .required = true,
          .apply = read_template },
        { .name = "for", .type = KEY_CHOICE, .into = INTO(scope), .choices = announcement_scopes },
        { .name = "quantity", .type = KEY_APPLY, .into = INTO(quantity), .apply = keys_quantity },
        { .name = "retain", .type = KEY_FLAG, .into = INTO(retain) },
    };
#undef INTO
    if (!keys_is_list(ld, at))
        return;
    int count = config_setting_length(at);
    ld->site->announcements = arena_take(&ld->site->arena, (size_t)count, sizeof *ld->site->announcements);
    for (int i = 0; i < count; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct announcement *a = &ld->site->announcements[i];
        *a = (struct announcement){ .scope = ANNOUNCE_TANK,
                                    .quantity = Q_COUNT,
                                    .retain = true,
                                    .line = (int)config_setting_source_line(each) };
        struct key_part part = { KEY_ROWS(rows), a, NULL };
        if (keys_read(ld, each, "announcements", &part, 1))
            check(ld, each, a);
        ld->site->announcement_count = i + 1;
    }
}
