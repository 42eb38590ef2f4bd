/* Captures: what `mosquitto_sub -F %j` prints, one JSON object a line. */
#ifndef LENTIC_WIRE_CAPTURE_H
#define LENTIC_WIRE_CAPTURE_H

#include "base/text.h"
#include "model/message.h"
#include "wire/json.h"

struct capture_line {
    struct json_doc doc;
    struct message message; /* points into doc; now.utc is the line's tst, now.mono is not set */
};

/* One line. STATUS_INVALID with one sentence. tst: as mosquitto writes it or RFC 3339. On STATUS_OK the
 * caller ends it with capture_fini. */
enum status capture_parse(const char *line, size_t n, struct capture_line *out,
                          struct why *why) LENTIC_CHECKED;
void capture_fini(struct capture_line *line);

/* Writes the line (no newline) for a message. */
void capture_format(const struct message *m, struct text *out);

#endif
