/* A tank's document read back: what encode_tank wrote, for programs that hear it from the broker. */
#ifndef LENTIC_WIRE_TANK_DOCUMENT_H
#define LENTIC_WIRE_TANK_DOCUMENT_H

#include "model/report.h"

/* Nothing is known of a tank yet. */
void tank_document_empty(int tank, struct tank_report *out);

/* Values, derived values, solids, the last change; the rest stays as tank_document_empty leaves it. What the
 * document does not hold is not known. STATUS_INVALID: it cannot be read; *out is empty then. */
enum status tank_document_parse(int tank, const char *json, size_t n, struct tank_report *out) LENTIC_CHECKED;

#endif
