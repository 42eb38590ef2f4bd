/* Preloaded into lenticd by cases about time: the program's own view of the clocks. The libraries that it
 * uses see the same wall clock, but no hurry; the broker sees the true one. The file TIME_FILE, changed while
 * it runs: eight bytes of milliseconds that the wall clock is off (a change is a step of the clock), then
 * eight bytes, how many times faster everything goes. The clock is never synchronised. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <link.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/timex.h>
#include <time.h>
#include <unistd.h>

static uintptr_t program_from, program_to;
static const volatile struct wish {
    int64_t off_ms, speed;
} * wish;
/* Where each clock stood, truly and as seen, when the speed was last changed. */
static struct {
    int64_t true_ns, seen_ns;
} since[CLOCK_BOOTTIME + 1];
static int64_t speed = 1;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int (*real_gettime)(clockid_t, struct timespec *);
static int (*real_epoll_wait)(int, struct epoll_event *, int, int);
static int (*real_nanosleep)(const struct timespec *, struct timespec *);
static int (*real_timedwait)(pthread_cond_t *, pthread_mutex_t *, const struct timespec *);

/* The program comes first. */
static int measure(struct dl_phdr_info *info, size_t size, void *context)
{
    (void)size;
    (void)context;
    program_from = UINTPTR_MAX;
    for (int i = 0; i < info->dlpi_phnum; i++)
        if (info->dlpi_phdr[i].p_type == PT_LOAD) {
            uintptr_t from = info->dlpi_addr + info->dlpi_phdr[i].p_vaddr;
            program_from = from < program_from ? from : program_from;
            program_to = from + info->dlpi_phdr[i].p_memsz;
        }
    return 1;
}

static int64_t ns_of(const struct timespec *t)
{
    return (int64_t)t->tv_sec * 1000000000 + t->tv_nsec;
}

static struct timespec of_ns(int64_t ns)
{
    return (struct timespec){ ns / 1000000000, ns % 1000000000 };
}

static int64_t true_ns(clockid_t id)
{
    struct timespec t;
    return real_gettime(id, &t) == 0 ? ns_of(&t) : 0;
}

__attribute__((constructor)) static void begin(void)
{
    static const struct wish none = { 0, 1 };
    const char *path = getenv("TIME_FILE");
    real_gettime = dlsym(RTLD_NEXT, "clock_gettime");
    real_epoll_wait = dlsym(RTLD_NEXT, "epoll_wait");
    real_nanosleep = dlsym(RTLD_NEXT, "nanosleep");
    real_timedwait = dlsym(RTLD_NEXT, "pthread_cond_timedwait");
    dl_iterate_phdr(measure, NULL);
    int fd = path != NULL ? open(path, O_RDONLY) : -1;
    const void *map = fd >= 0 ? mmap(NULL, sizeof *wish, PROT_READ, MAP_SHARED, fd, 0) : MAP_FAILED;
    wish = map != MAP_FAILED ? map : &none;
    for (int i = 0; i <= CLOCK_BOOTTIME; i++)
        since[i].true_ns = since[i].seen_ns = true_ns(i);
}

static int64_t seen_ns(clockid_t id)
{
    return since[id].seen_ns + (true_ns(id) - since[id].true_ns) * speed;
}

/* With the lock: takes up a change of speed without a jump. */
static void look(void)
{
    int64_t wanted = wish->speed > 0 ? wish->speed : 1;
    for (int i = 0; i <= CLOCK_BOOTTIME && wanted != speed; i++) {
        since[i].seen_ns = seen_ns(i);
        since[i].true_ns = true_ns(i);
    }
    speed = wanted;
}

static bool ours(const void *caller)
{
    return (uintptr_t)caller >= program_from && (uintptr_t)caller < program_to;
}

int clock_gettime(clockid_t id, struct timespec *t)
{
    bool faked = id == CLOCK_REALTIME || id == CLOCK_MONOTONIC || id == CLOCK_BOOTTIME;
    if (id == CLOCK_REALTIME && !ours(__builtin_return_address(0))) {
        *t = of_ns(true_ns(id) + wish->off_ms * 1000000);
        return 0;
    }
    if (!faked || !ours(__builtin_return_address(0)))
        return real_gettime(id, t);
    pthread_mutex_lock(&lock);
    look();
    *t = of_ns(seen_ns(id) + (id == CLOCK_REALTIME ? wish->off_ms * 1000000 : 0));
    pthread_mutex_unlock(&lock);
    return 0;
}

int epoll_wait(int fd, struct epoll_event *events, int most, int ms)
{
    bool faster = ms > 0 && ours(__builtin_return_address(0));
    return real_epoll_wait(fd, events, most, faster ? (int)((ms + speed - 1) / speed) : ms);
}

int nanosleep(const struct timespec *t, struct timespec *left)
{
    struct timespec shorter = of_ns(ns_of(t) / speed);
    return real_nanosleep(ours(__builtin_return_address(0)) ? &shorter : t, left);
}

/* The program waits by CLOCK_MONOTONIC only, the MQTT library by CLOCK_REALTIME. */
int pthread_cond_timedwait(pthread_cond_t *cond, pthread_mutex_t *mutex, const struct timespec *until)
{
    struct timespec ours_truly =
        of_ns(true_ns(CLOCK_MONOTONIC) + (ns_of(until) - seen_ns(CLOCK_MONOTONIC)) / speed);
    struct timespec theirs_truly = of_ns(ns_of(until) - wish->off_ms * 1000000);
    return real_timedwait(cond, mutex, ours(__builtin_return_address(0)) ? &ours_truly : &theirs_truly);
}

int adjtimex(struct timex *t)
{
    (void)t;
    return TIME_ERROR;
}

time_t time(time_t *out)
{
    struct timespec t;
    pthread_mutex_lock(&lock);
    look();
    t = of_ns(seen_ns(CLOCK_REALTIME) + wish->off_ms * 1000000);
    pthread_mutex_unlock(&lock);
    if (out != NULL)
        *out = t.tv_sec;
    return t.tv_sec;
}
