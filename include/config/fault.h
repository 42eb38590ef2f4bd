/* Gathers what is wrong with a configuration: every fault once, in the order of the file. */
#ifndef LENTIC_CONFIG_FAULT_H
#define LENTIC_CONFIG_FAULT_H

#include "config/load.h"

struct config_setting_t; /* libconfig's own */

void fault_init(struct config_faults *faults, const char *path);

/* A fault, or a warning, at the line of a setting. Sentence without a full stop. Beyond CONFIG_FAULTS_MAX
 * they are counted only. */
void fault_say(struct config_faults *faults, const struct config_setting_t *at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void fault_warn(struct config_faults *faults, const struct config_setting_t *at, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* A fault at a line of a file; line 0 is the file as a whole, file NULL the one given to fault_init. */
void fault_at(struct config_faults *faults, const char *file, int line, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* By file, as first named, and line. */
void fault_sort(struct config_faults *faults);

#endif
