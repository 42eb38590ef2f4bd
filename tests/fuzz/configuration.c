/* A configuration of any bytes: taken, or refused with a fault that has a sentence. */
#include "fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    static struct config_faults faults;
    struct site *site = NULL;
    /* What another file holds is not the question, and some never end. */
    if (n > 65536 || memmem(data, n, "@include", 8) != NULL)
        return 0;
    const char *path = fuzz_file("any.conf", data, n);
    enum status st = config_load(path, &site, &faults);
    unlink(path);
    FUZZ_CHECK((st == STATUS_OK) == (site != NULL));
    FUZZ_CHECK(st == STATUS_OK || (faults.errors > 0 && faults.items[0].text[0] != '\0'));
    if (site != NULL)
        site_free(site);
    return 0;
}
