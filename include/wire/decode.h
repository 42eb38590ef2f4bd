/* Topic and bytes to samples: every shape that probes send. Never fails as a whole: what cannot be read is a
 * sample that says so. Used alike by the daemon, replay, tests and the fuzzer. */
#ifndef LENTIC_WIRE_DECODE_H
#define LENTIC_WIRE_DECODE_H

#include "model/message.h"
#include "model/sample.h"
#include "model/site.h"
#include "wire/topic.h"

#define DECODE_MAX                                                                                           \
    256 /* most values one message may carry: a gateway lists a whole room; the rest is left out, and        \
           counted */

/* Writes up to cap samples, in the order of the configuration. Returns how many; 0 when the topic is nobody's
 * or no entry's match fits. A value whose pointer leads nowhere is SAMPLE_SYNTAX when the document is not
 * what was configured (not JSON at all), else it is left out: probes send partial documents. A document with
 * none of an entry's values is one SAMPLE_ABSENT for the first of them. *left_out: values beyond cap. A
 * payload that is nothing but a missing word is SAMPLE_MISSING for every value. Entries that share a topic by
 * match stay out of what cannot be read, for nobody can tell whose it was. sent and raw are NaN unless
 * SAMPLE_VALUE (SAMPLE_UNIT keeps sent). Allocates for JSON documents only. */
int decode_message(struct topics *topics, const struct site *site, const struct message *m,
                   struct sample *out, int cap, int *left_out);

/* One plain payload, judged by the grammar of the quantity: a number, a missing word, for a leak also true,
 * on, wet and their opposites. *value is set for SAMPLE_VALUE, *reason (static text) for SAMPLE_SYNTAX. */
enum sample_kind decode_plain(const char *s, size_t n, enum quantity q, bool comma, double *value,
                              const char **reason);

/* A payload's own time: RFC 3339 text, or an epoch number in s or ms by form; beyond the years that can be
 * written it is cut to the last of them. UTC_NONE when unreadable. */
utc_t decode_time(const char *s, size_t n, enum time_form form, bool *zoned);

#endif
