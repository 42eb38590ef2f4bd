/* Alerts of the report: the store's changes as spells, each from raise to end, and what of them stands. */
#ifndef LENTIC_CLI_REPORT_SPELLS_H
#define LENTIC_CLI_REPORT_SPELLS_H

#include "cli/reporting.h"

/* Changes of alerts, oldest first, into spells; those that ended before `from` are left out. */
void reporting_take_change(struct reporting *r, const struct alert_row *row);

/* What stands at the end of the span, as the store has it; and out with what was over before it began or was
 * not asked for. False without memory. */
bool reporting_take_standing(struct reporting *r);

#endif
