/* What backup and restore tell alike. */
#ifndef LENTIC_CLI_BACKUP_H
#define LENTIC_CLI_BACKUP_H

#include <stdbool.h>
#include "adapters/store_backup.h"

/* did: "Copied to". */
void backup_tell(const struct backup_facts *facts, const char *file, const char *did, bool json);

#endif
