/* The room of a diary (plan/diary) on the heap, for the service and the command line alike. */
#ifndef LENTIC_APP_DAYBOOK_H
#define LENTIC_APP_DAYBOOK_H

#include "plan/diary.h"

/* For that site, nothing noted or heard yet. False without memory; daybook_free either way. */
bool daybook_make(struct diary *diary, const struct site *site, utc_t now);
void daybook_free(struct diary *diary);

#endif
