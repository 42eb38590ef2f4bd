#include "config/kinds.h"

#include <string.h>

#include <libconfig.h>

struct probe_kind {
    const char *id;
    struct value_draft draft;
};

static void finish(struct loader *ld, const struct config_setting_t *at, const struct value_draft *draft)
{
    struct value_draft whole = *draft;
    /* A kind that names its quantity can be checked as a whole, whether it is used or not. */
    if (whole.value.quantity != Q_COUNT)
        (void)values_finish(ld, at, &whole);
}

static bool is_new(struct loader *ld, const struct config_setting_t *at, const char *id)
{
    for (int i = 0; i < ld->kind_count; i++)
        if (strcmp(ld->kinds[i].id, id) == 0) {
            fault_say(ld->faults, at, "the kind \"%s\" stands twice in probe_kinds", id);
            return false;
        }
    return true;
}

static void read_kind(struct loader *ld, const struct config_setting_t *at)
{
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = offsetof(struct probe_kind, id), .required = true },
    };
    struct probe_kind kind = { .draft = values_draft() };
    struct key_part parts[] = { { KEY_ROWS(rows), &kind, NULL },
                                { values_own_rows, values_own_count, &kind.draft, NULL },
                                { values_shared_rows, values_shared_count, &kind.draft, NULL } };
    int before = ld->faults->errors;
    (void)keys_read(ld, at, "probe_kinds", parts, 3);
    if (kind.id == NULL || !is_new(ld, at, kind.id))
        return;
    if (ld->faults->errors == before)
        finish(ld, at, &kind.draft);
    ld->kinds[ld->kind_count++] = kind;
}

void kinds_list(struct loader *ld, const struct config_setting_t *at)
{
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    ld->kinds = arena_take(&ld->site->arena, (size_t)n, sizeof *ld->kinds);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        if (keys_is_group(ld, each))
            read_kind(ld, each);
    }
}

struct value_draft kinds_draft(struct loader *ld, const struct config_setting_t *group,
                               const struct value_draft *otherwise)
{
    const struct config_setting_t *at = config_setting_get_member(group, "kind");
    const char *id, *known[64];
    char hint[KEYS_HINT_MAX];
    size_t count = 0;
    if (at == NULL || !keys_text(ld, at, &id))
        return *otherwise;
    for (int i = 0; i < ld->kind_count; i++) {
        if (strcmp(ld->kinds[i].id, id) == 0)
            return ld->kinds[i].draft;
        if (count < sizeof known / sizeof *known)
            known[count++] = ld->kinds[i].id;
    }
    fault_say(ld->faults, at, "there is no kind \"%.40s\" in probe_kinds%s", id,
              count == 0 ? "" : keys_hint(id, known, count, hint));
    return *otherwise;
}

void kinds_skip(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target)
{
    (void)ld;
    (void)at;
    (void)key;
    (void)target;
}
