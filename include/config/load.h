/* Reads the configuration file into a frozen site, telling every fault in one run. */
#ifndef LENTIC_CONFIG_LOAD_H
#define LENTIC_CONFIG_LOAD_H

#include "base/status.h"
#include "model/site.h"

/* One fault or warning. Sentence: what is wrong, the limit with its unit, the nearest known key. */
struct config_fault {
    const char *file; /* as given, or as included */
    int line;         /* 0: the file as a whole */
    bool warning;     /* a retired key, a doubtful setting: told, not refused */
    char text[320];
};

#define CONFIG_FAULTS_MAX 200

struct config_faults {
    int count;  /* kept in items */
    int errors; /* also those beyond the array */
    int warnings;
    struct config_fault items[CONFIG_FAULTS_MAX];
    char names[2048]; /* file names the items point to */
};

/* On STATUS_OK *out is a site that the caller ends with site_free (*out != NULL). STATUS_INVALID:
 * faults->errors > 0, nothing made. STATUS_IO: the file cannot be read (told as a fault too). */
enum status config_load(const char *path, struct site **out, struct config_faults *faults) LENTIC_CHECKED;
void site_free(struct site *site);

#endif
