/* A JSON document from pointers (RFC 6901) and values: the reverse of reading one. A level whose tokens are
 * all array indices becomes an array. */
#ifndef LENTIC_REHEARSE_DOCBUILD_H
#define LENTIC_REHEARSE_DOCBUILD_H

#include "base/text.h"

#define DOC_ITEMS_MAX 48
#define DOC_TEXT_MAX  64

enum doc_kind { DOC_NUMBER, DOC_STRING, DOC_NULL };

struct doc_item {
    const char *pointer;
    enum doc_kind kind;
    double number;
    int decimals;
    char string[DOC_TEXT_MAX];
};

struct doc {
    struct doc_item items[DOC_ITEMS_MAX];
    int count;
};

/* Beyond DOC_ITEMS_MAX nothing is added. A string is cut at DOC_TEXT_MAX - 1 bytes. */
void doc_number(struct doc *d, const char *pointer, double number, int decimals);
void doc_string(struct doc *d, const char *pointer, const char *string);
void doc_null(struct doc *d, const char *pointer);

/* Of two items at one pointer, or one below the other, the first stays. The whole document is one value when
 * a pointer is empty. */
void doc_write(const struct doc *d, struct text *out);

/* As the only item of the list at that pointer. */
void doc_write_listed(const struct doc *d, const char *list_at, struct text *out);

#endif
