/* Figures learnt from logged batches that a keeper accepted: they stand in for those of the configuration,
 * which are kept beside them, so that any of them can be taken back. */
#ifndef LENTIC_MODEL_LEARNT_H
#define LENTIC_MODEL_LEARNT_H

#include "model/journal.h"
#include "model/site.h"

/* Every salt and water as configured again. Before the first figure, and whenever one no longer counts. */
void learnt_begin(struct site *site);

/* A JOURNAL_LEARNT entry that counts: of a salt "ec", "gh", "kh" or "tds" per g/L, of a water "tds" per EC.
 * Of something no longer configured, or out of all reason: ignored. Returns whether it holds. */
bool learnt_apply(struct site *site, const struct journal_entry *e);

#endif
