/* Looks over the text before libconfig does, for what libconfig would get wrong without a word: whole numbers
 * beyond 32 bits are cut, and an include that is no regular file ends the whole process. */
#ifndef LENTIC_CONFIG_SCAN_H
#define LENTIC_CONFIG_SCAN_H

#include "config/load.h"

/* dir: the directory that includes are relative to. STATUS_IO when the file cannot be read, STATUS_INVALID
 * when faults were told. */
enum status scan_check(const char *path, const char *dir, struct config_faults *faults) LENTIC_CHECKED;

#endif
