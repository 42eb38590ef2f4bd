/* The journal of the store read into a diary (plan/diary), for the week and the one-off sums. */
#ifndef LENTIC_CLI_READ_DIARY_H
#define LENTIC_CLI_READ_DIARY_H

#include "plan/diary.h"

/* diary: made for that site (app/daybook). False: the store cannot be read; what was read counts. */
bool read_diary(const struct site *site, struct diary *diary);

#endif
