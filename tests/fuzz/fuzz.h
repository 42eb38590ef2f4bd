/* What the fuzz targets share. Each target is one file with LLVMFuzzerTestOneInput: built by scripts/fuzz
 * with libFuzzer, and with tests/fuzz/replay.c, which runs its seeds and a bounded number of changed ones in
 * CTest. */
#ifndef LENTIC_TESTS_FUZZ_H
#define LENTIC_TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "app/pump.h"
#include "config/load.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n);

#define FUZZ_T0 INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */

/* Must hold; the fuzzers take the abort for a find. */
#define FUZZ_CHECK(truth)                                                                                    \
    do {                                                                                                     \
        if (!(truth)) {                                                                                      \
            fprintf(stderr, "%s:%d: %s does not hold\n", __FILE__, __LINE__, #truth);                        \
            abort();                                                                                         \
        }                                                                                                    \
    } while (0)

/* A file of this process in memory. */
static inline const char *fuzz_file(const char *name, const void *bytes, size_t n)
{
    static char path[128];
    snprintf(path, sizeof path, "/dev/shm/lentic-fuzz-%ld-%s", (long)getpid(), name);
    FILE *f = fopen(path, "w");
    FUZZ_CHECK(f != NULL && fwrite(bytes, 1, n, f) == n);
    fclose(f);
    return path;
}

static inline struct site *fuzz_site(void)
{
    static const char text[] =
        "site = { id = \"mill\"; };\n"
        "publish = { homie = true; };\n"
        "waters = ( { id = \"soft\"; ec = 220.0; temp = 22.0; drift = { ec = 30.0; }; } );\n"
        "stocks = ( { id = \"bees\"; temp = [20.5, 25.0]; } );\n"
        "tanks = ( { id = \"a1\"; volume_l = 30.0; stock = \"bees\"; water = \"soft\"; heater_w = 25.0; "
        "setpoint "
        "= 22.0; }, { id = \"a2\"; volume_l = 30.0; stock = \"bees\"; } );\n"
        "probes = ( { topic = \"p/{tank}/temp\"; measures = \"temp\"; every_s = 60; missing = [85.0]; },\n"
        " { topic = \"p/{tank}/ph\"; measures = \"ph\"; comma = true; },\n"
        " { topic = \"doc/{tank}\"; tanks = [\"a2\"]; time = \"/t\"; values = ( { at = \"/w/ec\"; measures = "
        "\"ec\"; unit = \"mS/cm\"; compensated = false; }, { at = \"/w/0/t\"; measures = \"temp\"; unit = "
        "\"[degF]\"; unit_at = \"/u\"; }, { at = \"/leak\"; measures = \"leak\"; } ); },\n"
        " { topic = \"gate\"; match = { at = \"/id\"; is = \"7\"; }; place = \"tank/a1\"; at = \"/v\"; "
        "measures = "
        "\"ec\"; } );\n";
    static struct config_faults faults;
    struct site *site = NULL;
    const char *path = fuzz_file("site.conf", text, sizeof text - 1);
    enum status st = config_load(path, &site, &faults);
    unlink(path);
    if (st != STATUS_OK)
        fprintf(stderr, "%s\n", faults.items[0].text);
    FUZZ_CHECK(st == STATUS_OK);
    return site;
}

#endif
