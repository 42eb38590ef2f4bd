/* lenticd: the service. */
#include <malloc.h>
#include <stdio.h>
#include <string.h>

#include "adapters/log.h"
#include "adapters/sd.h"
#include "app/daemon.h"

static const char help[] =
    "usage: lenticd [--conf FILE] [--verbose]\n"
    "Watches the water of many small tanks: reads probes from an MQTT broker, stores, warns, publishes.\n"
    "  --conf FILE   configuration; /etc/lentic/lentic.conf without it\n"
    "  --verbose     log more\n"
    "  --version     print the version\n"
    "Stays in the foreground and logs to standard error. SIGHUP reads the configuration again, SIGTERM "
    "stops.\n"
    "Check a configuration with `lentic check FILE`. Exit: 0 stopped, 2 configuration or usage, 3 store.\n";

int main(int argc, char **argv)
{
    const char *conf = "/etc/lentic/lentic.conf";
    enum log_level level = LOG_AT_INFO;
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--conf") == 0 && i + 1 < argc) {
            conf = argv[++i];
        } else if (strcmp(argv[i], "--verbose") == 0) {
            level = LOG_AT_DEBUG;
        } else if (strcmp(argv[i], "--help") == 0) {
            fputs(help, stdout);
            return 0;
        } else if (strcmp(argv[i], "--version") == 0) {
            puts("lenticd " LENTIC_VERSION);
            return 0;
        } else {
            fprintf(stderr, "lenticd: \"%s\" is not understood; see lenticd --help\n", argv[i]);
            return 2;
        }
    }
    static struct daemon d;
    struct why why = { "" };
    /* Tables are sized for the worst and mostly stay empty: from fresh pages they cost no memory until used.
     */
    (void)mallopt(M_MMAP_THRESHOLD, 128 * 1024);
    log_open(level);
    enum status st = daemon_open(&d, conf, &why);
    if (st != STATUS_OK) {
        log_say(LOG_AT_ERROR, "%s", why.text);
        daemon_close(&d);
        return st == STATUS_INVALID ? 2 : 3;
    }
    (void)malloc_trim(0); /* what reading the configuration took */
    log_say(LOG_AT_NOTICE, "lenticd " LENTIC_VERSION " watches %d tanks at %s", d.site->tank_count,
            d.site->name);
    sd_tell_ready();
    daemon_run(&d);
    daemon_close(&d);
    log_say(LOG_AT_NOTICE, "stopped");
    return 0;
}
