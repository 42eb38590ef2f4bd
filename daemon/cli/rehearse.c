/* `lentic rehearse`: a simulated room that speaks like the probes of a configuration. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "base/text.h"
#include "cli/rehearse.h"
#include "cli/verbs.h"
#include "config/load.h"

#define DAY_S          86400.0
#define CAPTURE_DAYS   7.0
#define CAPTURE_START  "2026-03-01T00:00:00Z"
#define PATH_MAX_BYTES 1024

struct request {
    const char *conf, *capture, *truth, *start, *broker;
    double speed, days, truth_every_s;
    long long seed;
    bool service, tests, rough, json;
    struct option_list faults;
};

static const char about[] = "A simulated room of tanks: heat, evaporation, water changes, probes with noise "
                            "and steps. It publishes to the\n"
                            "topics, in the forms and units that the probe entries of the configuration "
                            "describe, or writes a capture.";

static const char more[] =
    "A fault is NAME@tank=ID,at=TIME[,for=TIME][,size=X][,of=QUANTITY]; some also take @rack=ID, "
    "@circuit=ID,\n"
    "@water=ID, @source=ID or @room. TIME counts from the start: 30m, 6h, 2d. --list-faults tells what they "
    "do.\n\n"
    "When publishing, own times in payloads are those of the real clock, also with --speed: simulated ones "
    "would\n"
    "run ahead of every clock and not be believed. At --speed 60 a tank then cools 60 times faster than "
    "water\n"
    "can, and no probe sends more often than once a real second. By day the room may be nearly as warm as a\n"
    "tank: for a fault that shows soon, take a warm tank, or start at night.\n\n"
    "Examples:\n"
    "  lentic rehearse --conf room.conf --days 2 --capture two-days.jsonl --truth truth.jsonl\n"
    "  lentic rehearse --speed 60 --start 2026-03-01T01:00:00Z --fault heater-dead@tank=b4,at=20m";

static int list_faults(void)
{
    for (int k = 0; k < MISHAP_COUNT; k++) {
        const struct mishap_info *info = mishap_info((enum mishap_kind)k);
        printf("%-20s %s\n", info->name, info->about);
    }
    return 0;
}

/* room.conf beside the sources the program was built from, or where it is installed. */
static bool find_room(char *path, size_t cap)
{
    static const char *const from_program[] = { "../conf/room.conf", "../../conf/room.conf",
                                                "../share/lentic/room.conf",
                                                "../share/doc/lentic/room.conf" };
    static const char *const fixed[] = { "conf/room.conf", "/etc/lentic/room.conf",
                                         "/usr/share/lentic/room.conf", "/usr/local/share/lentic/room.conf" };
    char self[PATH_MAX_BYTES];
    ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
    self[n > 0 ? n : 0] = '\0';
    char *slash = strrchr(self, '/');
    for (size_t i = 0; slash != NULL && i < sizeof from_program / sizeof from_program[0]; i++) {
        struct text t = text_over(path, cap);
        text_put_n(&t, self, (size_t)(slash + 1 - self));
        text_put(&t, from_program[i]);
        if (!t.cut && access(path, R_OK) == 0)
            return true;
    }
    for (size_t i = 0; i < sizeof fixed / sizeof fixed[0]; i++) {
        struct text t = text_over(path, cap);
        text_put(&t, fixed[i]);
        if (access(path, R_OK) == 0)
            return true;
    }
    return false;
}

static int load_site(const struct options *o, const char *conf, struct site **site)
{
    char path[PATH_MAX_BYTES];
    if (conf == NULL) {
        if (!find_room(path, sizeof path))
            return options_fail(o, 2,
                                "the sample room (room.conf) is not installed here; name a configuration "
                                "with --conf FILE");
        conf = path;
    }
    struct config_faults *faults = calloc(1, sizeof *faults);
    if (faults == NULL)
        return options_fail(o, 3, "no memory");
    enum status st = config_load(conf, site, faults);
    for (int i = 0; st != STATUS_OK && i < faults->count; i++)
        if (!faults->items[i].warning)
            (void)fprintf(stderr, "%s:%d: %s\n", faults->items[i].file, faults->items[i].line,
                          faults->items[i].text);
    int code = st == STATUS_OK ? OPTIONS_GO_ON : options_fail(o, 2, "%s is not a sound configuration", conf);
    free(faults);
    return code;
}

static int parse_faults(const struct options *o, const struct site *site, const struct option_list *list,
                        struct mishap *faults)
{
    struct why why = { "" };
    for (int i = 0; i < list->count; i++)
        if (mishap_parse(site, list->items[i], &faults[i], &why) != STATUS_OK)
            return options_fail(o, 2, "--fault %s: %s", list->items[i], why.text);
    return OPTIONS_GO_ON;
}

static int parse_start(const struct options *o, const struct request *r, utc_t *start)
{
    const char *text = r->start;
    bool zoned;
    if (text == NULL && r->capture == NULL) {
        *start = clock_now().utc;
        return OPTIONS_GO_ON;
    }
    if (text == NULL)
        text = CAPTURE_START;
    if (utc_parse(text, strlen(text), start, &zoned) != STATUS_OK || start->ms < UTC_FLOOR.ms ||
        start->ms > UTC_CEIL.ms)
        return options_fail(o, 2, "--start takes a time such as %s, not \"%.40s\"", CAPTURE_START, text);
    return OPTIONS_GO_ON;
}

/* "-" is standard output. */
static int open_output(const struct options *o, const char *path, FILE **out)
{
    if (path == NULL)
        return OPTIONS_GO_ON;
    *out = strcmp(path, "-") == 0 ? stdout : fopen(path, "w");
    if (*out == NULL)
        return options_fail(o, 3, "%s cannot be written: %s", path, strerror(errno));
    return OPTIONS_GO_ON;
}

static int close_output(const struct options *o, const char *path, FILE *out, int code)
{
    if (out == NULL || out == stdout || fclose(out) == 0)
        return code;
    return options_fail(o, 3, "%s cannot be written: %s", path, strerror(errno));
}

/* Beside a capture on standard output nothing else may stand. */
static void print_summary(const struct rehearse_job *job, const struct request *r, utc_t start)
{
    char buf[1024], from[UTC_TEXT_MAX], to[UTC_TEXT_MAX];
    struct text line = text_over(buf, sizeof buf);
    bool taken = job->capture == stdout || job->truth == stdout;
    FILE *out = taken ? stderr : stdout;
    if (!r->json) {
        (void)fprintf(out, "%s to %s: %d tanks, %llu messages (%llu bytes), %llu lost\n",
                      utc_format(start, from, sizeof from), utc_format(sim_utc(job->sim), to, sizeof to),
                      job->site->tank_count, job->messages, job->bytes, job->lost);
        return;
    }
    json_open(&line, '{');
    json_key(&line, "start");
    json_time(&line, start);
    json_key(&line, "end");
    json_time(&line, sim_utc(job->sim));
    json_key(&line, "seed");
    json_int(&line, r->seed);
    json_key(&line, "tanks");
    json_int(&line, job->site->tank_count);
    json_key(&line, "messages");
    json_int(&line, (long long)job->messages);
    json_key(&line, "bytes");
    json_int(&line, (long long)job->bytes);
    json_key(&line, "lost");
    json_int(&line, (long long)job->lost);
    json_key(&line, "outside_band_tank_hours");
    json_number(&line, job->left_tank_hours, 2);
    json_close(&line, '}');
    (void)fprintf(out, "%s\n", buf);
}

static int run_job(struct rehearse_job *job, const struct request *r, utc_t start)
{
    int code = open_output(job->options, r->capture, &job->capture);
    if (code == OPTIONS_GO_ON)
        code = open_output(job->options, r->truth, &job->truth);
    if (code == OPTIONS_GO_ON)
        code = r->capture != NULL ? rehearse_capture(job) : rehearse_publish(job);
    code = close_output(job->options, r->capture, job->capture, code);
    code = close_output(job->options, r->truth, job->truth, code);
    if (code == 0)
        print_summary(job, r, start);
    return code;
}

static int run_site(const struct options *o, const struct request *r, const struct site *site)
{
    struct mishap faults[OPTION_LIST_MAX];
    utc_t start;
    int code = parse_faults(o, site, &r->faults, faults);
    if (code == OPTIONS_GO_ON)
        code = parse_start(o, r, &start);
    if (code != OPTIONS_GO_ON)
        return code;
    double days = isnan(r->days) && r->capture != NULL ? CAPTURE_DAYS : r->days;
    const struct sim_options sim_options = { .seed = (uint64_t)r->seed,
                                             .start = start,
                                             .faults = faults,
                                             .fault_count = r->faults.count,
                                             .service = r->service,
                                             .tests = r->tests,
                                             .rough = r->rough,
                                             .least_every_s = r->capture == NULL ? r->speed : 0 };
    struct rehearse_job job = { .options = o,
                                .site = site,
                                .sim = sim_init(site, &sim_options),
                                .seconds = isnan(days) ? INFINITY : days * DAY_S,
                                .speed = r->speed,
                                .broker = r->broker,
                                .truth_every_s = r->truth_every_s,
                                .truth_next_s = r->truth_every_s };
    code = run_job(&job, r, start);
    sim_fini(job.sim);
    return code;
}

int rehearse_main(int argc, char **argv)
{
    struct request r = { .speed = 1, .days = NAN, .truth_every_s = 300, .seed = 1 };
    bool list = false;
    const struct option items[] = {
        { "conf", "FILE", "the configuration to speak for; without it the sample room", OPTION_TEXT, &r.conf,
          0, 0 },
        { "capture", "FILE",
          "write a capture as mosquitto_sub -F %j does, as fast as can be;\n\"-\": standard output",
          OPTION_TEXT, &r.capture, 0, 0 },
        { "truth", "FILE", "write what is really so in each tank, as JSON lines, for scoring", OPTION_TEXT,
          &r.truth, 0, 0 },
        { "truth-every", "TIME", "how often (5m)", OPTION_SPAN, &r.truth_every_s, 5, DAY_S },
        { "days", "N", "length; a capture 7, publishing until interrupted", OPTION_NUMBER, &r.days, 0.0001,
          3660 },
        { "start", "TIME",
          "first moment; a capture " CAPTURE_START ", publishing now.\n"
          "Sets the simulated hour of the day (UTC)",
          OPTION_TEXT, &r.start, 0, 0 },
        { "speed", "X", "publishing: so many times faster than life (1)", OPTION_NUMBER, &r.speed, 0.01,
          3600 },
        { "seed", "N", "the same seed gives the same room (1)", OPTION_WHOLE, &r.seed, 0,
          9007199254740992.0 },
        { "fault", "FAULT", "what goes wrong; may be repeated", OPTION_LIST, &r.faults, 0, 0 },
        { "list-faults", NULL, "the faults and what they do", OPTION_FLAG, &list, 0, 0 },
        { "service", NULL, "the keeper announces some of the water changes", OPTION_FLAG, &r.service, 0, 0 },
        { "tests", NULL, "the keeper tests each tank's conductivity by hand about weekly", OPTION_FLAG,
          &r.tests, 0, 0 },
        { "rough", NULL,
          "cheap heaters: dials off by up to 1.5 degrees, every second one regulates in pulses", OPTION_FLAG,
          &r.rough, 0, 0 },
        { "broker", "HOST:PORT", "instead of the configuration's", OPTION_TEXT, &r.broker, 0, 0 },
        { "json", NULL, "the summary as JSON", OPTION_FLAG, &r.json, 0, 0 },
    };
    const struct options o = { "rehearse", NULL, about, items, sizeof items / sizeof items[0], more };
    int none;
    int code = options_read(&o, argc, argv, NULL, &none);
    if (code != OPTIONS_GO_ON)
        return code;
    if (list)
        return list_faults();
    struct site *site = NULL;
    code = load_site(&o, r.conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    code = run_site(&o, &r, site);
    site_free(site);
    return code;
}
