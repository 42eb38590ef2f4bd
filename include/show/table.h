/* Rows of text in columns as wide as their widest cell. */
#ifndef LENTIC_SHOW_TABLE_H
#define LENTIC_SHOW_TABLE_H

#include <stdbool.h>
#include "base/text.h"

#define TABLE_COLUMNS_MAX 12

struct table {
    int columns;
    const char *const *titles; /* [columns] */
    const bool *right;         /* [columns]: numbers stand right */
    const char *const *cells;  /* [rows * columns]; NULL: empty */
    int rows;
};

/* A line of titles, then the rows; two blanks between columns, none at a line's end. */
void table_put(struct text *out, const struct table *t);

#endif
