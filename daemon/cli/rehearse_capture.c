#include <math.h>
#include <string.h>

#include "base/text.h"
#include "cli/rehearse.h"

#define LINE_MAX_BYTES 12288
#define STRIDE_S       600.0

/* mosquitto writes microseconds and names the zone twice. */
static void put_tst(struct text *line, utc_t t)
{
    char buf[UTC_TEXT_MAX];
    const char *iso = utc_format(t, buf, sizeof buf);
    text_printf(line, "\"%.*s000Z+0000\"", (int)(strlen(iso) - 1), iso);
}

void rehearse_write_line(FILE *out, const struct sim_message *m)
{
    char buf[LINE_MAX_BYTES];
    struct text line = text_over(buf, sizeof buf);
    json_open(&line, '{');
    json_key(&line, "tst");
    put_tst(&line, m->t);
    json_key(&line, "topic");
    json_string(&line, m->topic);
    json_key(&line, "qos");
    json_int(&line, m->qos);
    json_key(&line, "retain");
    json_int(&line, m->replay ? 1 : 0);
    json_key(&line, "payloadlen");
    json_int(&line, (long long)m->payload_len);
    json_key(&line, "payload");
    if (m->payload_len > 0)
        json_string_n(&line, m->payload, m->payload_len);
    else
        json_null(&line);
    json_close(&line, '}');
    (void)fprintf(out, "%s\n", buf);
}

static void put_faults(struct text *line, uint32_t faults)
{
    json_key(line, "faults");
    json_open(line, '[');
    for (int k = 0; k < MISHAP_COUNT; k++)
        if ((faults >> k & 1u) != 0)
            json_string(line, mishap_info((enum mishap_kind)k)->name);
    json_close(line, ']');
}

static bool put_left(struct text *line, const struct sim_truth *t)
{
    bool any = false;
    json_key(line, "left");
    json_open(line, '[');
    for (int q = 0; q < Q_COUNT; q++)
        if (t->left[q]) {
            json_string(line, quantity_info((enum quantity)q)->name);
            any = true;
        }
    json_close(line, ']');
    return any;
}

static void put_value(struct text *line, const char *key, double v, int decimals)
{
    json_key(line, key);
    json_number(line, v, decimals);
}

static bool write_truth(const struct rehearse_job *job, int tank)
{
    char buf[1024];
    struct text line = text_over(buf, sizeof buf);
    struct sim_truth t = sim_truth(job->sim, tank);
    json_open(&line, '{');
    json_key(&line, "t");
    json_time(&line, sim_utc(job->sim));
    json_key(&line, "tank");
    json_string(&line, job->site->tanks[tank].id);
    put_value(&line, "temp", t.temp_c, 4);
    put_value(&line, "ec", t.ec25_us_cm, 2);
    put_value(&line, "ph", t.ph, 3);
    put_value(&line, "level", t.level_mm, 2);
    put_value(&line, "litres", t.water_l, 3);
    put_value(&line, "room", sim_room_c(job->sim), 3);
    json_key(&line, "wanted");
    json_bool(&line, t.heater_wanted);
    json_key(&line, "heater");
    json_bool(&line, t.heater_on);
    put_value(&line, "heater_w", t.heater_w, 1);
    put_faults(&line, t.faults);
    bool left = put_left(&line, &t);
    json_close(&line, '}');
    if (job->truth != NULL)
        (void)fprintf(job->truth, "%s\n", buf);
    return left;
}

static void record_truth(struct rehearse_job *job)
{
    for (int i = 0; i < job->site->tank_count; i++)
        if (write_truth(job, i))
            job->left_tank_hours += job->truth_every_s / 3600;
}

void rehearse_advance(struct rehearse_job *job, double dt_s, sim_hear *hear, void *context)
{
    while (dt_s >= job->truth_next_s) {
        dt_s -= job->truth_next_s;
        sim_advance(job->sim, job->truth_next_s, hear, context);
        record_truth(job);
        job->truth_next_s = job->truth_every_s;
    }
    sim_advance(job->sim, dt_s, hear, context);
    job->truth_next_s -= dt_s;
}

static void write_message(void *context, const struct sim_message *m)
{
    struct rehearse_job *job = context;
    rehearse_write_line(job->capture, m);
    job->messages++;
    job->bytes += m->payload_len;
}

int rehearse_capture(struct rehearse_job *job)
{
    for (double t = 0; t < job->seconds && !ferror(job->capture); t += STRIDE_S)
        rehearse_advance(job, fmin(STRIDE_S, job->seconds - t), write_message, job);
    bool sound = fflush(job->capture) == 0 && !ferror(job->capture);
    if (job->truth != NULL)
        sound = fflush(job->truth) == 0 && !ferror(job->truth) && sound;
    return sound ? 0 : options_fail(job->options, 3, "the output cannot be written: %m");
}
