#include "cli/stretch.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "adapters/clock.h"
#include "cli/sums.h"

enum status stretch_parse_time(const char *text, utc_t *out)
{
    static const char *const forms[] = { "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M",
                                         "%Y-%m-%d %H:%M", "%Y-%m-%d" };
    utc_t t;
    bool zoned;
    if (utc_parse(text, strlen(text), &t, &zoned) == STATUS_OK && zoned) {
        *out = t;
        return STATUS_OK;
    }
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++) {
        struct tm tm = { .tm_isdst = -1 };
        const char *end = strptime(text, forms[i], &tm);
        if (end == NULL || *end != 0)
            continue;
        struct tm asked = tm;
        time_t s = mktime(&tm);
        /* mktime makes the 31st of February the 3rd of March. */
        if (s == (time_t)-1 || tm.tm_mday != asked.tm_mday)
            return STATUS_INVALID;
        *out = (utc_t){ (int64_t)s * MS_PER_S };
        return STATUS_OK;
    }
    return STATUS_INVALID;
}

static int read_time(const struct options *o, const char *option, const char *text, utc_t *out)
{
    if (text == NULL || stretch_parse_time(text, out) == STATUS_OK)
        return OPTIONS_GO_ON;
    return options_fail(o, 2, "--%s takes 2026-03-01, \"2026-03-01 12:00\" or RFC 3339, not \"%.40s\"",
                        option, text);
}

int stretch_read(const struct options *o, const struct stretch_asked *asked, utc_t *from, utc_t *to)
{
    double back_ms = asked->days * (double)MS_PER_DAY + asked->hours * (double)MS_PER_HOUR;
    *to = clock_now().utc;
    int code = read_time(o, "to", asked->to, to);
    from->ms = to->ms - (back_ms > 0 ? (int64_t)back_ms : MS_PER_DAY);
    if (code == OPTIONS_GO_ON)
        code = read_time(o, "from", asked->from, from);
    if (code != OPTIONS_GO_ON)
        return code;
    if (asked->from != NULL && back_ms > 0 && asked->to == NULL)
        to->ms = from->ms + (int64_t)back_ms;
    if (from->ms >= to->ms)
        return options_fail(o, 2, "--from must lie before --to");
    return OPTIONS_GO_ON;
}

int stretch_store(const struct options *o, const struct stretch_asked *asked, const char **path,
                  struct site **site)
{
    *path = asked->store;
    if (*path != NULL)
        return OPTIONS_GO_ON;
    int code = sums_site(o, asked->conf, site);
    if (code != OPTIONS_GO_ON)
        return code;
    *path = (*site)->store.path;
    if ((*site)->timezone != NULL) {
        setenv("TZ", (*site)->timezone, 1);
        tzset();
    }
    return OPTIONS_GO_ON;
}
