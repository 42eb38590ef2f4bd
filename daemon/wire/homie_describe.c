/* The description documents: what a controller builds its tree from. */
#include "wire/homie.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"

#define QUALITIES    "good,unchecked,suspect,fail,missing,stale"
#define MINUTES_MOST "0:1440"

struct part_row {
    const char *node, *id; /* NULL: of the quantity or the derived value */
    const char *name;
    const char *datatype;
    const char *format, *unit; /* NULL: none, or made for the quantity */
};

static const struct part_row rows[HOMIE_PART_COUNT] = {
    [HOMIE_VALUE] = { NULL, "value", "Value", "float", NULL, NULL },
    [HOMIE_QUALITY] = { NULL, "quality", "Quality", "enum", QUALITIES, NULL },
    [HOMIE_TIME] = { NULL, "time", "Measured at", "datetime", NULL, NULL },
    [HOMIE_TREND] = { NULL, "trend", "Trend", "float", NULL, NULL },
    [HOMIE_LOW] = { NULL, "band-low", "Lower limit", "float", NULL, NULL },
    [HOMIE_HIGH] = { NULL, "band-high", "Upper limit", "float", NULL, NULL },
    [HOMIE_DERIVED] = { "derived", NULL, NULL, "float", NULL, NULL },
    [HOMIE_DERIVED_QUALITY] = { "derived", NULL, "Quality", "enum", QUALITIES, NULL },
    [HOMIE_FORECAST_OF] = { "forecast", "quantity", "Will leave its band", "enum", NULL, NULL },
    [HOMIE_FORECAST_LIMIT] = { "forecast", "limit", "Limit", "float", NULL, NULL },
    [HOMIE_FORECAST_AT] = { "forecast", "at", "Reached at", "datetime", NULL, NULL },
    [HOMIE_LEVEL] = { "alerts", "level", "Highest priority", "enum", "none,low,medium,high", NULL },
    [HOMIE_COUNT] = { "alerts", "count", "Number", "integer", "0:", "#" },
    [HOMIE_URGENT] = { "alerts", "most-urgent", "Most urgent", "string", NULL, NULL },
    [HOMIE_ACKNOWLEDGE] = { "alerts", "acknowledge", "Acknowledge (falls back by itself)", "boolean", NULL,
                            NULL },
    [HOMIE_SHELVE] = { "alerts", "shelve", "Put aside for minutes (0 ends it)", "integer", MINUTES_MOST,
                       "min" },
    [HOMIE_WINDOW] = { "service", "window", "Work goes on for minutes (0 ends it)", "integer", MINUTES_MOST,
                       "min" },
};

static const char *const derived_titles[DERIVED_COUNT] = {
    [DERIVED_CO2] = "carbon dioxide",
    [DERIVED_CO2_SWING] = "carbon dioxide, range of the day",
    [DERIVED_OXYGEN_SAT] = "oxygen at saturation",
    [DERIVED_NH3] = "un-ionised ammonia",
    [DERIVED_CALCITE_SI] = "calcite saturation index",
    [DERIVED_GH_EST] = "general hardness by recipe",
    [DERIVED_KH_EST] = "carbonate hardness by recipe",
    [DERIVED_TDS] = "dissolved solids by conductivity",
};

/* An id of the convention has no underscore. */
static void put_id(struct text *out, const char *name)
{
    for (; *name != '\0'; name++)
        text_put_n(out, *name == '_' ? "-" : name, 1);
}

static void put_property_id(struct text *out, struct homie_property p)
{
    if (p.part == HOMIE_DERIVED || p.part == HOMIE_DERIVED_QUALITY)
        put_id(out, derived_name((enum derived)p.of));
    else
        text_put(out, rows[p.part].id);
    if (p.part == HOMIE_DERIVED_QUALITY)
        text_put(out, "-quality");
}

static const char *node_of(struct homie_property p)
{
    return rows[p.part].node != NULL ? rows[p.part].node : quantity_info((enum quantity)p.of)->name;
}

void homie_property_path(struct homie_property p, char *buf, size_t cap)
{
    struct text out = text_over(buf, cap);
    text_printf(&out, "%s/", node_of(p));
    put_property_id(&out, p);
}

static void member(struct text *out, const char *key, const char *value)
{
    json_key(out, key);
    json_string(out, value);
}

/* "0:14:0.01" */
static void put_range(struct text *out, enum quantity q)
{
    const struct quantity_info *info = quantity_info(q);
    char lo[32], hi[32], step[32], format[104];
    number_format(lo, sizeof lo, info->hard_lo, 0);
    number_format(hi, sizeof hi, info->hard_hi, 0);
    number_format(step, sizeof step, pow(10, -info->decimals), info->decimals);
    (void)snprintf(format, sizeof format, "%s:%s:%s", lo, hi, step);
    member(out, "format", format);
}

static void put_quantities(struct text *out)
{
    char format[256];
    struct text list = text_over(format, sizeof format);
    text_put(&list, "none");
    for (int q = 0; q < Q_COUNT; q++)
        text_printf(&list, ",%s", quantity_info((enum quantity)q)->name);
    member(out, "format", format);
}

static void put_unit(struct text *out, const char *unit, const char *per)
{
    char both[48];
    (void)snprintf(both, sizeof both, "%s%s", unit, per);
    if (unit[0] != '\0' || per[0] != '\0')
        member(out, "unit", both);
}

static void put_form(struct text *out, struct homie_property p)
{
    const struct part_row *row = &rows[p.part];
    enum quantity q = (enum quantity)p.of;
    bool leak = p.part == HOMIE_VALUE && q == Q_LEAK;
    member(out, "datatype", leak ? "boolean" : row->datatype);
    if (row->format != NULL)
        member(out, "format", row->format);
    else if (p.part == HOMIE_VALUE && !leak)
        put_range(out, q);
    else if (p.part == HOMIE_FORECAST_OF)
        put_quantities(out);
    if (row->unit != NULL)
        member(out, "unit", row->unit);
    else if (p.part == HOMIE_DERIVED)
        put_unit(out, derived_unit((enum derived)p.of), "");
    else if (p.part == HOMIE_TREND)
        put_unit(out, quantity_info(q)->unit, quantity_info(q)->unit[0] != '\0' ? "/d" : "1/d");
    else if (p.part == HOMIE_VALUE || p.part == HOMIE_LOW || p.part == HOMIE_HIGH)
        put_unit(out, quantity_info(q)->unit, "");
}

static void put_name(struct text *out, const char *name)
{
    char buf[96];
    (void)snprintf(buf, sizeof buf, "%s", name);
    if (buf[0] >= 'a' && buf[0] <= 'z' && strncmp(buf, "pH", 2) != 0)
        buf[0] = (char)(buf[0] - 'a' + 'A');
    member(out, "name", buf);
}

static void put_property(const struct site *site, struct homie_property p, struct text *out)
{
    char id[64];
    struct text name = text_over(id, sizeof id);
    put_property_id(&name, p);
    json_key(out, id);
    json_open(out, '{');
    put_name(out, p.part == HOMIE_DERIVED ? derived_titles[p.of] : rows[p.part].name);
    put_form(out, p);
    if (homie_is_settable(site, p)) {
        json_key(out, "settable");
        json_bool(out, true);
    }
    json_close(out, '}');
}

static void put_node_name(struct homie_property p, struct text *out)
{
    static const struct {
        const char *id, *name;
    } names[] = { { "derived", "Derived values" },
                  { "forecast", "Forecast" },
                  { "alerts", "Alerts" },
                  { "service", "Work on the tank" } };
    for (unsigned i = 0; i < sizeof names / sizeof *names; i++)
        if (strcmp(names[i].id, node_of(p)) == 0) {
            member(out, "name", names[i].name);
            return;
        }
    put_name(out, quantity_info((enum quantity)p.of)->title);
}

static void put_nodes(const struct site *site, const struct homie_property *properties, int count,
                      struct text *out)
{
    const char *node = NULL;
    json_key(out, "nodes");
    json_open(out, '{');
    for (int i = 0; i < count; i++) {
        bool first = node == NULL || strcmp(node, node_of(properties[i])) != 0;
        if (first && node != NULL)
            text_put(out, "}}");
        node = node_of(properties[i]);
        if (first) {
            json_key(out, node);
            json_open(out, '{');
            put_node_name(properties[i], out);
            json_key(out, "properties");
            json_open(out, '{');
        }
        put_property(site, properties[i], out);
    }
    text_put(out, count > 0 ? "}}}" : "}");
}

static void put_children(const struct site *site, struct text *out)
{
    char id[HOMIE_ID_MAX];
    json_key(out, "children");
    json_open(out, '[');
    for (int i = 0; i < site->place_count; i++)
        if (homie_has_device(site, i)) {
            homie_device_id(site, i, id);
            json_string(out, id);
        }
    json_close(out, ']');
}

/* "lentic/site", "lentic/tank": by which `lentic listen` knows what is no probe. */
static void put_type(const struct site *site, int place, struct text *out)
{
    char type[48];
    struct text t = text_over(type, sizeof type);
    text_put(&t, HOMIE_TYPE_FRONT);
    text_put(&t, place == HOMIE_ROOT ? "site" : homie_kind_word(site->places[place].kind));
    member(out, "type", type);
}

void homie_describe(const struct site *site, int place, const struct homie_property *properties, int count,
                    int64_t version, struct text *out)
{
    bool root = place == HOMIE_ROOT;
    json_open(out, '{');
    member(out, "homie", "5.0");
    json_key(out, "version");
    json_int(out, version);
    member(out, "name", root ? site->name : site->places[place].name);
    put_type(site, place, out);
    if (root)
        put_children(site, out);
    else
        member(out, "root", site->id);
    put_nodes(site, properties, count, out);
    json_close(out, '}');
}
