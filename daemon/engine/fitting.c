#include "engine/fitting.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define AGEING_LEAST_MS (10 * MS_PER_DAY)

void fitting_forget(struct fitting *f, const struct calib *configured)
{
    f->calibs[0] = *configured;
    f->calib_count = 1;
}

void fitting_init(struct fitting *f, const struct calib *configured)
{
    memset(f, 0, sizeof *f);
    fitting_forget(f, configured);
    f->device_since = f->next_since = UTC_NONE;
}

const struct calib *fitting_calib(const struct fitting *f)
{
    return &f->calibs[f->calib_count - 1];
}

const struct calib *fitting_calib_before(const struct fitting *f)
{
    return f->calib_count < 2 ? NULL : &f->calibs[f->calib_count - 2];
}

static bool holds_from(const struct calib *c, utc_t t)
{
    return !utc_is_set(c->since) || c->since.ms <= t.ms;
}

const struct calib *fitting_calib_at(const struct fitting *f, utc_t t)
{
    int i = f->calib_count - 1;
    while (i > 0 && !holds_from(&f->calibs[i], t))
        i--;
    return &f->calibs[i];
}

static void make_room(struct fitting *f)
{
    memmove(f->calibs, f->calibs + 1, (FITTING_CALIBS - 1) * sizeof *f->calibs);
    f->calib_count--;
}

void fitting_calibrate(struct fitting *f, const struct calib *c)
{
    int at = f->calib_count;
    while (at > 0 && utc_is_set(f->calibs[at - 1].since) && f->calibs[at - 1].since.ms > c->since.ms)
        at--;
    if (at > 0 && f->calibs[at - 1].since.ms == c->since.ms) {
        f->calibs[at - 1] = *c;
        return;
    }
    if (f->calib_count == FITTING_CALIBS) {
        if (at == 0)
            return; /* older than all that is kept */
        make_room(f);
        at--;
    }
    memmove(f->calibs + at + 1, f->calibs + at, (size_t)(f->calib_count - at) * sizeof *f->calibs);
    f->calibs[at] = *c;
    f->calib_count++;
}

bool fitting_undo(struct fitting *f)
{
    if (f->calib_count < 2)
        return false;
    f->calib_count--;
    return true;
}

bool fitting_is_fresh(const struct fitting *f)
{
    return utc_is_set(f->device_since) && fitting_calib(f)->since.ms == f->device_since.ms;
}

static double slope_percent_of(const struct calib *c)
{
    return 50 * (c->slope_fraction[0] + c->slope_fraction[1]);
}

static bool is_of_device(const struct fitting *f, const struct calib *c)
{
    return c->kind == CALIB_ELECTRODE && utc_is_set(c->since) &&
           (!utc_is_set(f->device_since) || c->since.ms > f->device_since.ms);
}

double fitting_slope_month(const struct fitting *f, double *slope_percent)
{
    const struct calib *last = fitting_calib(f);
    *slope_percent = last->kind == CALIB_ELECTRODE ? slope_percent_of(last) : (double)NAN;
    for (int i = 0; i < f->calib_count - 1 && is_of_device(f, last); i++) {
        const struct calib *first = &f->calibs[i];
        int64_t apart_ms = is_of_device(f, first) ? last->since.ms - first->since.ms : 0;
        if (apart_ms >= AGEING_LEAST_MS)
            return (*slope_percent - slope_percent_of(first)) * (double)(30 * MS_PER_DAY) / (double)apart_ms;
    }
    return (double)NAN;
}

void fitting_assign(struct fitting *f, const char *device, utc_t since)
{
    snprintf(f->device, sizeof f->device, "%s", device);
    f->device_since = since;
    f->next[0] = '\0';
    f->next_count = 0;
}

/* Two devices that send on one topic alternate: neither is ever sure. */
bool fitting_hear(struct fitting *f, const char *device, utc_t t, utc_t *since)
{
    if (strcmp(device, f->device) == 0) {
        f->next_count = 0;
        return false;
    }
    if (f->next_count == 0 || strcmp(device, f->next) != 0) {
        snprintf(f->next, sizeof f->next, "%s", device);
        f->next_count = 0;
        f->next_since = t;
    }
    *since = f->next_since;
    return ++f->next_count >= FITTING_SURE;
}

static void visit_calib(struct calib *c, struct pack *p)
{
    int32_t kind = (int32_t)c->kind;
    pack_i32(p, &kind, CALIB_LINEAR, CALIB_ELECTRODE);
    c->kind = (enum calib_kind)kind;
    pack_f64(p, &c->gain, -1e6, 1e6);
    pack_f64(p, &c->offset, -1e6, 1e6);
    pack_f64(p, &c->offset_mv, -1e4, 1e4);
    pack_f64(p, &c->slope_fraction[0], 0, 10);
    pack_f64(p, &c->slope_fraction[1], 0, 10);
    pack_utc(p, &c->since);
    pack_f64(p, &c->pivot_ph, 0, 14);
    pack_f64(p, &c->residual, 0, 1e6);
}

void fitting_visit(struct fitting *f, struct pack *p, const struct calib *configured)
{
    int32_t count = f->calib_count;
    pack_i32(p, &count, 1, FITTING_CALIBS);
    if (p->bad)
        return;
    f->calib_count = count;
    for (int i = 0; i < count && !p->bad; i++)
        visit_calib(&f->calibs[i], p);
    pack_text(p, f->device, sizeof f->device);
    pack_utc(p, &f->device_since);
    pack_text(p, f->next, sizeof f->next);
    pack_i32(p, &f->next_count, 0, FITTING_SURE);
    pack_utc(p, &f->next_since);
    /* The configuration may say another one by now. */
    if (p->reading && !p->bad && !utc_is_set(f->calibs[0].since))
        f->calibs[0] = *configured;
}
