/* A JSON request being read, member by member: the first fault ends it, later reads leave things alone. For
 * commands.c and notes.c. */
#ifndef LENTIC_WIRE_REQUEST_H
#define LENTIC_WIRE_REQUEST_H

#include "model/site.h"
#include "wire/json.h"

struct request {
    const struct site *site;
    struct json_doc doc;
    struct why *why;
    enum status st;
};

/* Refuses a member that is none of these (blanks between them), by name. */
void request_refuse_unknown(struct request *r, const char *known);

struct json_item request_member(const struct request *r, const char *name); /* "points/0/raw" goes deeper */

/* False when it is not there, or is no text, which is refused. */
bool request_text_at(struct request *r, const char *name, struct json_item *item);

/* Copies a text, cut, control characters to blanks; buf is left alone when there is none. */
void request_text(struct request *r, const char *name, char *buf, size_t cap);

/* Each leaves *out alone when it is not there. */
void request_number(struct request *r, const char *name, double lo, double hi, double *out);
void request_time(struct request *r, const char *name, utc_t *into);

/* Index of the "place" ("tank/a1") or "tank" ("a1"), -1: none named, or refused. */
int request_place(struct request *r);

#endif
