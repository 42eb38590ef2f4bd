#include "app/daybook.h"

#include <math.h>
#include <stdlib.h>

bool daybook_make(struct diary *diary, const struct site *site, utc_t now)
{
    *diary = (struct diary){ .site = site, .now = now };
    diary->tanks = calloc((size_t)site->tank_count + 1, sizeof *diary->tanks);
    diary->waters = calloc((size_t)site->water_count + 1, sizeof *diary->waters);
    diary->salts = calloc((size_t)site->salt_count + 1, sizeof *diary->salts);
    diary->sources = calloc((size_t)site->source_count + 1, sizeof *diary->sources);
    diary->stores = calloc((size_t)site->store_count + 1, sizeof *diary->stores);
    if (diary->tanks == NULL || diary->waters == NULL || diary->salts == NULL || diary->sources == NULL ||
        diary->stores == NULL)
        return false;
    for (int i = 0; i < site->source_count; i++)
        diary->sources[i].live = SOURCE_LIVE_NONE;
    for (int i = 0; i < site->store_count; i++)
        diary->stores[i].level_mm = NAN;
    diary_init(diary);
    return true;
}

void daybook_free(struct diary *diary)
{
    free(diary->tanks);
    free(diary->waters);
    free(diary->salts);
    free(diary->sources);
    free(diary->stores);
    *diary = (struct diary){ .site = NULL };
}
