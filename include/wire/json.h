/* JSON documents as devices send them, read by JSON pointers (RFC 8259, RFC 6901).
 *
 * A document is read strictly first. When that fails, it is read once more with its bare words replaced: NaN
 * and infinities become null, any other bare word or malformed or too large number in the place of a value
 * becomes a string, so that one bad field spares its siblings. A byte order mark, blanks around and one NUL
 * behind the document are stepped over. A key that comes twice in an object is an error, and so is nesting
 * deeper than JSON_DOC_DEPTH_MAX. */
#ifndef LENTIC_WIRE_JSON_H
#define LENTIC_WIRE_JSON_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include "base/status.h"
#include "base/times.h"

#define JSON_DOC_BYTES_MAX 16384
#define JSON_DOC_DEPTH_MAX 32

enum json_kind {
    JSON_KIND_NONE,
    JSON_KIND_NULL,
    JSON_KIND_BOOL,
    JSON_KIND_NUMBER,
    JSON_KIND_TEXT,
    JSON_KIND_CONTAINER
};

struct json_doc {
    void *root; /* NULL: nothing there */
};

struct json_item {
    enum json_kind kind; /* JSON_KIND_NONE: the pointer leads nowhere */
    double number;       /* JSON_KIND_NUMBER; JSON_KIND_BOOL: 0 or 1 */
    bool is_whole;       /* a number written without point and exponent: exact in whole */
    int64_t whole;
    const char *text; /* JSON_KIND_TEXT: UTF-8, may hold NUL, lives as long as the document */
    size_t text_len;
};

/* The root must be an object or an array. STATUS_INVALID with one sentence (why may be NULL) leaves *out
 * empty. */
enum status json_doc_parse(const char *s, size_t n, struct json_doc *out, struct why *why) LENTIC_CHECKED;
void json_doc_fini(struct json_doc *doc);

/* pointer: RFC 6901; "" is the whole document. */
struct json_item json_doc_at(const struct json_doc *doc, const char *pointer);

/* The pointer is of the right form: empty, or begins with "/", and "~" only in "~0" and "~1". */
bool json_pointer_is_sound(const char *pointer);

bool json_doc_is_object(const struct json_doc *doc);
bool json_doc_is_list(const struct json_doc *doc, const char *pointer);

/* The pointer to a member of the whole document, with its escapes; "" when it does not fit. */
void json_doc_pointer(const char *key, char *buf, size_t cap);

/* The index-th item of the list there, or member of the object there, as a document of its own that lives as
 * long as doc and is not given back; false behind the last, when it is no list and when that one holds
 * nothing. */
bool json_doc_element(const struct json_doc *doc, const char *pointer, size_t index, struct json_doc *out);

/* The name of the index-th member of the object there; NULL behind the last, and when it is no object. */
const char *json_doc_key(const struct json_doc *doc, const char *pointer, size_t index);

/* Every member that is no object or array, in the order of the document, with its pointer. Pointers of
 * JSON_WALK_POINTER_MAX bytes or more are left out. */
#define JSON_WALK_POINTER_MAX 256
void json_doc_walk(const struct json_doc *doc,
                   void (*each)(void *context, const char *pointer, const struct json_item *item),
                   void *context);

/* The text there, cut to cap; empty when it is no text. */
void json_doc_text(const struct json_doc *doc, const char *pointer, char *buf, size_t cap);

/* The time there; UTC_NONE when it is none. */
utc_t json_doc_time(const struct json_doc *doc, const char *pointer);

#endif
