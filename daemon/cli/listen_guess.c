/* From a name, a unit and a range of numbers to a quantity, and how sure that is. */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/listen.h"

/* Words by which makers call it; of a name's words the last that is known decides ("water_temp_raw"). */
struct word {
    const char *text;
    enum quantity quantity; /* Q_COUNT: known, and nothing that is watched here */
};

static const struct word words[] = {
    { "temp", Q_TEMP },
    { "temperature", Q_TEMP },
    { "tmp", Q_TEMP },
    { "ec", Q_EC },
    { "cond", Q_EC },
    { "conductivity", Q_EC },
    { "conductance", Q_EC },
    { "tds", Q_TDS },
    { "solids", Q_TDS },
    { "ph", Q_PH },
    { "orp", Q_ORP },
    { "redox", Q_ORP },
    { "do", Q_DO },
    { "oxygen", Q_DO },
    { "level", Q_LEVEL },
    { "power", Q_POWER },
    { "watts", Q_POWER },
    { "apower", Q_POWER },
    { "flow", Q_FLOW },
    { "leak", Q_LEAK },
    { "flood", Q_LEAK },
    { "gh", Q_GH },
    { "kh", Q_KH },
    { "alkalinity", Q_KH },
    { "no2", Q_NO2 },
    { "no3", Q_NO3 },
    { "humidity", Q_COUNT },
    { "battery", Q_COUNT },
    { "batt", Q_COUNT },
    { "rssi", Q_COUNT },
    { "linkquality", Q_COUNT },
    { "lqi", Q_COUNT },
    { "snr", Q_COUNT },
    { "voltage", Q_COUNT },
    { "current", Q_COUNT },
    { "energy", Q_COUNT },
    { "uptime", Q_COUNT },
    { "heap", Q_COUNT },
    { "pressure", Q_COUNT },
    { "lux", Q_COUNT },
    { "illuminance", Q_COUNT },
    { "setpoint", Q_COUNT },
    { "target", Q_COUNT },
    { "offset", Q_COUNT },
    { "counter", Q_COUNT },
    { "count", Q_COUNT },
    { "version", Q_COUNT },
    { "interval", Q_COUNT },
};

/* Units that probes of a quantity send, with the span that water takes in each; the first that fits is
 * proposed. Plain: as the probe sends it, in its own unit. */
struct range {
    enum quantity quantity;
    const char *unit;
    double lo, hi;
};

static const struct range ranges[] = {
    { Q_TEMP, "Cel", 2, 40 },     { Q_TEMP, "[degF]", 45, 104 }, { Q_TEMP, "K", 275, 313 },
    { Q_EC, "uS/cm", 15, 20000 }, { Q_EC, "mS/cm", 0.01, 12 },   { Q_TDS, "ppm", 8, 10000 },
    { Q_PH, "", 3.5, 10.5 },      { Q_ORP, "mV", -600, 900 },    { Q_DO, "mg/L", 1, 15 },
    { Q_LEVEL, "mm", 20, 2000 },  { Q_LEVEL, "cm", 2, 19.99 },   { Q_POWER, "W", 0, 5000 },
    { Q_FLOW, "L/min", 0, 200 },  { Q_LEAK, "", 0, 1 },          { Q_GH, "[dH]", 0, 40 },
    { Q_KH, "[dH]", 0, 30 },      { Q_NO2, "mg/L", 0, 10 },      { Q_NO3, "mg/L", 0, 250 },
};

static enum quantity quantity_of_word(const char *word, bool *known)
{
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(words[i].text, word) == 0) {
            *known = true;
            return words[i].quantity;
        }
    return Q_COUNT;
}

/* Words end at anything but letters and digits, and where a capital follows a small letter. */
static const char *next_word(const char *s, char *word, size_t cap)
{
    size_t n = 0;
    while (*s != '\0' && !isalnum((unsigned char)*s))
        s++;
    for (bool small = false; isalnum((unsigned char)*s) && !(small && isupper((unsigned char)*s)); s++) {
        small = islower((unsigned char)*s) != 0;
        if (n + 1 < cap)
            word[n++] = (char)tolower((unsigned char)*s);
    }
    word[n] = '\0';
    return n > 0 ? s : NULL;
}

/* "temp1" is a temp. */
static void drop_number(char *word)
{
    size_t n = strlen(word);
    while (n > 1 && isdigit((unsigned char)word[n - 1]))
        n--;
    word[n] = '\0';
}

static enum quantity quantity_of_name(const char *name, bool *known)
{
    enum quantity found = Q_COUNT;
    char word[32];
    for (const char *s = name; (s = next_word(s, word, sizeof word)) != NULL;) {
        bool hit = false;
        enum quantity q = quantity_of_word(word, &hit);
        if (!hit) {
            drop_number(word);
            q = quantity_of_word(word, &hit);
        }
        if (hit) {
            found = q;
            *known = true;
        }
    }
    return found;
}

static const char *last_level(const char *topic)
{
    const char *slash = strrchr(topic, '/');
    return slash != NULL ? slash + 1 : topic;
}

/* The nearest name speaks first: the member, a description's name, the topic's end, the whole. */
static enum quantity named(const struct listen_stream *s, bool *known)
{
    const char *const names[] = { s->pointer, s->label, last_level(s->topic), s->topic };
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        enum quantity q = quantity_of_name(names[i], known);
        if (*known)
            return q;
    }
    return Q_COUNT;
}

/* The quantity whose own unit the announced one is, where only one has it. */
static enum quantity quantity_of_unit(const char *unit)
{
    static const enum quantity tellable[] = { Q_TEMP, Q_EC, Q_GH, Q_POWER, Q_FLOW };
    struct unit u;
    for (size_t i = 0; unit[0] != '\0' && i < sizeof tellable / sizeof *tellable; i++)
        if (unit_find(unit, quantity_info(tellable[i])->kind, &u) == STATUS_OK)
            return tellable[i];
    return Q_COUNT;
}

static const struct range *range_of(enum quantity q, double lo, double hi)
{
    for (size_t i = 0; i < sizeof ranges / sizeof *ranges; i++)
        if (ranges[i].quantity == q && lo >= ranges[i].lo && hi <= ranges[i].hi)
            return &ranges[i];
    return NULL;
}

/* Nothing but a range: the one quantity that looks like it, if water has only one such. */
static enum quantity quantity_of_range(const struct listen_stream *s)
{
    if (s->fractions && s->lo >= 15 && s->hi <= 33)
        return Q_TEMP;
    if (s->fractions && s->lo >= 5 && s->hi <= 9)
        return Q_PH;
    return Q_COUNT;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The cadence, when the middle half of the gaps agrees within a fifth; rounded as people set it. */
static double cadence_s(const struct listen_stream *s)
{
    double gaps[LISTEN_GAPS_MAX];
    int n = s->gap_count < LISTEN_GAPS_MAX ? s->gap_count : LISTEN_GAPS_MAX;
    if (n < 3)
        return NAN;
    memcpy(gaps, s->gaps_s, (size_t)n * sizeof *gaps);
    qsort(gaps, (size_t)n, sizeof *gaps, ascending);
    double middle = gaps[n / 2];
    if (middle < 0.5 || gaps[n * 3 / 4] - gaps[n / 4] > 0.2 * middle + 0.2)
        return NAN;
    double step = middle < 10 ? 1 : middle < 100 ? 5 : 30;
    double rounded = step * round(middle / step);
    return fabs(rounded - middle) < 0.1 * middle ? rounded : round(middle);
}

__attribute__((format(printf, 3, 4))) static void say(struct listen_guess *g, enum listen_sure sure,
                                                      const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vsnprintf(g->reason, sizeof g->reason, format, args);
    va_end(args);
    g->sure = sure;
}

/* The quantity is settled; the unit, and whether the numbers fit it. */
static void judge_range(const struct listen_stream *s, struct listen_guess *g, const char *by)
{
    const struct quantity_info *info = quantity_info(g->quantity);
    const struct range *range = range_of(g->quantity, s->lo, s->hi);
    struct unit u;
    if (s->unit[0] != '\0' && unit_find(s->unit, info->kind, &u) == STATUS_OK) {
        g->unit = s->unit;
        bool fits = unit_to_stored(u, s->lo) >= info->gate.suspect_lo &&
                    unit_to_stored(u, s->hi) <= info->gate.suspect_hi;
        say(g, fits ? LISTEN_SURE : LISTEN_DOUBTFUL, "%s and unit %s%s", by, s->unit,
            fits ? "" : ", but no water has such numbers");
    } else if (s->unit[0] != '\0') {
        say(g, LISTEN_DOUBTFUL, "%s, but its unit \"%s\" is none of %s", by, s->unit, info->title);
    } else if (range == NULL) {
        say(g, LISTEN_DOUBTFUL, "%s, but no unit of %s gives such numbers in water", by, info->title);
    } else {
        g->unit = range->unit;
        bool usual = range == ranges || range[-1].quantity != g->quantity;
        say(g, usual ? LISTEN_SURE : LISTEN_LIKELY, usual ? "%s and range" : "%s, and the unit by the range",
            by);
    }
}

struct listen_guess listen_guess(const struct listen_stream *s)
{
    struct listen_guess g = { .quantity = Q_COUNT, .unit = "", .every_s = cadence_s(s) };
    bool known = false;
    const char *by = "name";
    g.quantity = named(s, &known);
    if (known && g.quantity == Q_COUNT) {
        say(&g, LISTEN_NOT_WATER, "nothing of the water by its name");
        return g;
    }
    if (!known) {
        g.quantity = quantity_of_unit(s->unit);
        by = "unit";
    }
    bool only_range = g.quantity == Q_COUNT;
    if (only_range)
        g.quantity = quantity_of_range(s);
    if (s->numbers == 0 || g.quantity == Q_COUNT) {
        say(&g, LISTEN_NOT_WATER,
            s->numbers == 0 ? "no numbers" : "neither name, unit nor range tells what it is");
        return g;
    }
    if (isnan(s->lo)) {
        say(&g, LISTEN_DOUBTFUL, "only error codes came: is the probe broken?");
        return g;
    }
    judge_range(s, &g, only_range ? "range alone" : by);
    if (only_range && g.sure > LISTEN_DOUBTFUL)
        say(&g, LISTEN_DOUBTFUL, "only the range looks like %s: nothing says so",
            quantity_info(g.quantity)->title);
    else if (s->settable)
        say(&g, LISTEN_DOUBTFUL, "its description says that it can be set: a wish, not a measurement");
    else if (s->live == 0)
        say(&g, LISTEN_DOUBTFUL, "only what the broker keeps was heard, nothing live: does it still send?");
    else if (s->barred != NULL)
        say(&g, LISTEN_DOUBTFUL, "%s", s->barred);
    else if (s->thousands)
        say(&g, LISTEN_DOUBTFUL, "\"%s\": a decimal comma, or thousands?", s->sample);
    else if (s->words > s->numbers)
        say(&g, LISTEN_DOUBTFUL, "more words than numbers came, such as \"%s\"", s->sample);
    if (s->comma && g.sure == LISTEN_SURE)
        say(&g, LISTEN_LIKELY, "%s, read with a decimal comma", by);
    return g;
}
