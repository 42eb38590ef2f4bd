/* Entries of the journal as JSON: what BASE/do/note takes, and what is told and listed. */
#ifndef LENTIC_WIRE_NOTES_H
#define LENTIC_WIRE_NOTES_H

#include "base/text.h"
#include "model/command.h"
#include "wire/request.h"

/* {"what":"test","tank":"a1" (or "place"),"at","who","text"} and, as the kind has it,
 *   test      "quantity","value","sd", or "values":{"gh":5,"kh":{"value":3,"sd":0.5}}; "kit","lot"
 *   change    "litres","water","batch" (number of the batch's entry)
 *   topoff    "litres","batch"
 *   batch     "water","litres","salts":{"cacl2":5.4},"values" measured in it, "kit","lot"
 *   feeding   "grams"
 *   animals   "counts":{"adults","shrimplets","berried","born","dead","in","out"},"from","to"
 *   learnt    "salt" or "water","figures":{"ec":{"value":1650,"sd":12}}
 * "correct": ID with what was wrong, or "withdraw": ID with "why". "why" is taken for "text". A correction is
 * checked when it is joined with the old entry, everything else here. STATUS_INVALID with one sentence. */
enum status notes_read(struct request *r, struct command *c) LENTIC_CHECKED;

/* The request that makes this entry: what notes_read takes. */
void notes_format_request(const struct journal_entry *e, struct text *out);

/* For people's programs: {"id","what","at","written","place","water","batch","litres","grams","values":{"gh":
 * {"value","sd","unit"}},"salts","counts","figures","kit","lot","other","who","text","words","corrects",
 * "superseded_by","withdrawn":{"at","who","why"}}; what is not known is left out. */
void notes_format(const struct journal_entry *e, struct text *out);

/* BASE/event: the same with "t" and "event":"note" before, or "event":"note-withdrawn". */
void notes_format_event(const struct journal_entry *e, utc_t t, struct text *out);

#define NOTES_ENTRY_MAX 4096 /* room for one of them */

#endif
