#include "adapters/clock.h"

#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/timex.h>
#include <time.h>

/* The later of the build day and what the store knows; INT64_MIN until the first look. */
static _Atomic int64_t floor_ms = INT64_MIN;

static int64_t read_ms(clockid_t id)
{
    struct timespec t = { 0 };
    clock_gettime(id, &t);
    return (int64_t)t.tv_sec * MS_PER_S + t.tv_nsec / 1000000;
}

utc_t clock_built(void)
{
    static const char months[] = "JanFebMarAprMayJunJulAugSepOctNovDec";
    char month[4] = "";
    int day = 1, year = 2000;
    if (sscanf(__DATE__, "%3s %d %d", month, &day, &year) != 3)
        return UTC_FLOOR;
    const char *at = strstr(months, month);
    struct tm date = { .tm_mday = day, .tm_mon = at ? (int)(at - months) / 3 : 0, .tm_year = year - 1900 };
    return (utc_t){ (int64_t)timegm(&date) * MS_PER_S };
}

static bool kernel_synchronised(void)
{
    struct timex t = { .modes = 0 };
    int state = adjtimex(&t);
    return state >= 0 && state != TIME_ERROR && (t.status & STA_UNSYNC) == 0;
}

static bool past_floor(utc_t utc)
{
    int64_t least = atomic_load(&floor_ms);
    if (least == INT64_MIN) {
        clock_trust_after(clock_built());
        least = atomic_load(&floor_ms);
    }
    return utc.ms >= least;
}

struct now clock_now(void)
{
    struct now now = { .utc.ms = read_ms(CLOCK_REALTIME), .mono.ms = read_ms(CLOCK_BOOTTIME) };
    now.trusted = past_floor(now.utc) || kernel_synchronised();
    return now;
}

void clock_trust_after(utc_t newest)
{
    int64_t known = atomic_load(&floor_ms);
    int64_t built = clock_built().ms;
    int64_t wanted = newest.ms > built ? newest.ms : built;
    while (wanted > known && !atomic_compare_exchange_weak(&floor_ms, &known, wanted))
        ;
}

void clock_set_timezone(const char *name)
{
    if (name != NULL)
        setenv("TZ", name, 1);
    else
        unsetenv("TZ");
    tzset();
}

static struct tm local_time(utc_t t)
{
    int64_t s = t.ms / MS_PER_S - (t.ms % MS_PER_S < 0);
    time_t seconds = (time_t)s;
    struct tm local = { 0 };
    localtime_r(&seconds, &local);
    return local;
}

int clock_local_minute(utc_t t)
{
    struct tm local = local_time(t);
    return local.tm_hour * 60 + local.tm_min;
}

int clock_local_weekday(utc_t t)
{
    return local_time(t).tm_wday;
}

uint64_t clock_monotonic_us(void)
{
    struct timespec t = { 0 };
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000000 + (uint64_t)t.tv_nsec / 1000;
}
