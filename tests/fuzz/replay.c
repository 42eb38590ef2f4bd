/* Runs a fuzz target without a fuzzer: every seed of a folder as it is, then a bounded number of changed
 * ones. usage: fuzz_TARGET SEEDS [ROUNDS [FIRST]]   Each round's change depends on its number alone: to see
 * one again, give it as FIRST with ROUNDS 1. */
#include <dirent.h>
#include <signal.h>

#include "fuzz.h"

#define SEEDS_MAX 256
#define BYTES_MAX 65536

static struct seed {
    uint8_t *bytes;
    size_t n;
} seeds[SEEDS_MAX];
static int seed_count;
static volatile long round_now = -1;

static uint32_t state;
static uint32_t next(uint32_t below)
{
    state ^= state << 13;
    state ^= state >> 17;
    state ^= state << 5;
    return below > 0 ? state % below : 0;
}

static void load(const char *folder)
{
    DIR *dir = opendir(folder);
    struct dirent *entry;
    FUZZ_CHECK(dir != NULL);
    while ((entry = readdir(dir)) != NULL && seed_count < SEEDS_MAX) {
        char path[600];
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        FILE *f = entry->d_name[0] != '.' ? fopen(path, "r") : NULL;
        if (f == NULL)
            continue;
        seeds[seed_count].bytes = malloc(BYTES_MAX);
        seeds[seed_count].n = fread(seeds[seed_count].bytes, 1, BYTES_MAX, f);
        seed_count++;
        fclose(f);
    }
    closedir(dir);
    FUZZ_CHECK(seed_count > 0);
}

static int by_bytes(const void *a, const void *b)
{
    const struct seed *x = a, *y = b;
    if (x->n != y->n)
        return x->n < y->n ? -1 : 1;
    return memcmp(x->bytes, y->bytes, x->n);
}

static void change(uint8_t *bytes, size_t *n)
{
    static const char *const pieces[] = { "nan",
                                          "1e999",
                                          "-0",
                                          "null",
                                          "\"",
                                          "{",
                                          "}",
                                          "[",
                                          ",",
                                          "\xef\xbb\xbf",
                                          "18446744073709551616",
                                          "\xff",
                                          "\\u0000",
                                          "99999999",
                                          "true",
                                          "/" };
    for (uint32_t k = 1 + next(4); k > 0; k--) {
        const char *piece = pieces[next(sizeof pieces / sizeof *pieces)];
        size_t length = strlen(piece), at = next((uint32_t)*n + 1);
        switch (next(5)) {
        case 0: /* another byte */
            if (at < *n)
                bytes[at] = (uint8_t)next(256);
            break;
        case 1: /* cut */
            *n = at;
            break;
        case 2: /* a piece over it */
            if (at + length <= *n)
                memcpy(bytes + at, piece, length);
            break;
        case 3: /* a piece between */
            if (*n + length < BYTES_MAX) {
                memmove(bytes + at + length, bytes + at, *n - at);
                memcpy(bytes + at, piece, length);
                *n += length;
            }
            break;
        default: /* a piece of another seed behind it */
        {
            const struct seed *other = &seeds[next((uint32_t)seed_count)];
            size_t take = next((uint32_t)other->n + 1);
            if (*n + take < BYTES_MAX) {
                memcpy(bytes + *n, other->bytes + other->n - take, take);
                *n += take;
            }
        }
        }
    }
}

/* Tells the round before it dies; async-signal-safe enough for that. */
static void on_abort(int number)
{
    char line[80];
    int n = snprintf(line, sizeof line, "died in round %ld\n", round_now);
    if (write(STDERR_FILENO, line, (size_t)n) < 0)
        _exit(1);
    signal(number, SIG_DFL);
    raise(number);
}

int main(int argc, char **argv)
{
    static uint8_t bytes[BYTES_MAX];
    if (argc < 2)
        return 2;
    long rounds = argc > 2 ? atol(argv[2]) : 0, first = argc > 3 ? atol(argv[3]) : 0;
    signal(SIGABRT, on_abort);
    signal(SIGSEGV, on_abort);
    load(argv[1]);
    qsort(seeds, (size_t)seed_count, sizeof *seeds, by_bytes); /* a folder has no order of its own */
    for (int i = 0; i < seed_count; i++)
        LLVMFuzzerTestOneInput(seeds[i].bytes, seeds[i].n);
    for (round_now = first; round_now < first + rounds; round_now++) {
        state = 2463534242u + (uint32_t)round_now * 2654435761u;
        const struct seed *seed = &seeds[next((uint32_t)seed_count)];
        size_t n = seed->n;
        memcpy(bytes, seed->bytes, n);
        change(bytes, &n);
        uint8_t *exact = malloc(n > 0 ? n : 1); /* so that a step beyond the end is seen */
        memcpy(exact, bytes, n);
        LLVMFuzzerTestOneInput(exact, n);
        free(exact);
    }
    printf("%d seeds and %ld changed ones\n", seed_count, rounds);
    for (int i = 0; i < seed_count; i++)
        free(seeds[i].bytes);
    return 0;
}
