#include "show/table.h"

#include "show/width.h"

static void put_line(struct text *out, const struct table *t, const char *const *cells, const int *widths)
{
    for (int c = 0; c < t->columns; c++) {
        const char *cell = cells[c] != NULL ? cells[c] : "";
        if (c > 0)
            text_put(out, "  ");
        if (c == t->columns - 1 && !t->right[c])
            width_put_clean(out, cell);
        else
            width_put(out, cell, widths[c], t->right[c]);
    }
    while (out->len > 0 && out->buf[out->len - 1] == ' ')
        out->buf[--out->len] = '\0';
    text_put(out, "\n");
}

void table_put(struct text *out, const struct table *t)
{
    int widths[TABLE_COLUMNS_MAX];
    for (int c = 0; c < t->columns; c++) {
        widths[c] = width_of(t->titles[c]);
        for (int r = 0; r < t->rows; r++) {
            const char *cell = t->cells[r * t->columns + c];
            int width = cell != NULL ? width_of(cell) : 0;
            if (width > widths[c])
                widths[c] = width;
        }
    }
    put_line(out, t, t->titles, widths);
    for (int r = 0; r < t->rows; r++)
        put_line(out, t, &t->cells[r * t->columns], widths);
}
