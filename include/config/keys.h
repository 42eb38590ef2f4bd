/* The tables of keys: one row says name, type, range with unit and where the value goes; everything that is
 * told about a key comes from its row. A new key is one row. */
#ifndef LENTIC_CONFIG_KEYS_H
#define LENTIC_CONFIG_KEYS_H

#include <stdbool.h>
#include <stddef.h>
#include "config/fault.h"
#include "model/site.h"

struct probe_kind;

/* What is known while a file is being read. */
struct loader {
    struct site *site;
    struct config_faults *faults;
    const struct config_setting_t *root;
    struct probe_kind *kinds; /* config/kinds.c */
    int kind_count;
    const struct config_setting_t **entry_at; /* [site->entry_count]: where each probe entry stands */
};

enum key_type {
    KEY_TEXT,           /* const char *, not empty, printable */
    KEY_ID,             /* const char *, a-z 0-9 - */
    KEY_POINTER,        /* const char *, JSON pointer (RFC 6901) */
    KEY_POINTER_OR_ALL, /* the same, or "" for the whole payload */
    KEY_FLAG,           /* bool */
    KEY_WHOLE,          /* int */
    KEY_NUMBER,         /* double */
    KEY_CHOICE,         /* int: index into choices */
    KEY_CLOCK,          /* int: minutes of the day, from "22:30" */
    KEY_APPLY,          /* apply does it */
    KEY_REFUSED,        /* known, and never allowed: choices[0] says why */
};

struct key {
    const char *name;
    enum key_type type;
    size_t into;      /* offset in the target */
    double lo, hi;    /* allowed range of a number when lo < hi */
    const char *unit; /* of lo and hi, for people */
    bool required;
    bool above;                 /* lo itself is not allowed */
    const char *const *choices; /* KEY_CHOICE: names, NULL-terminated */
    void (*apply)(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);
};

/* Rows with the struct they fill; a group may be read into several. quantity, when given, takes the keys that
 * name a quantity ("temp = ..."). */
struct key_part {
    const struct key *rows;
    size_t count;
    void *target;
    void (*quantity)(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target);
};

#define KEY_ROWS(rows) (rows), sizeof(rows) / sizeof *(rows)

/* Reads all keys of a group. what: the group's name in the configuration ("tanks"). False when anything was
 * at fault; the sound keys are in place all the same. */
bool keys_read(struct loader *ld, const struct config_setting_t *group, const char *what,
               const struct key_part *parts, size_t part_count);

/* One value, told when it is not of that form. A whole number is a number too, not the other way round. */
bool keys_text(struct loader *ld, const struct config_setting_t *at, const char **out); /* libconfig's own */
bool keys_number(struct loader *ld, const struct config_setting_t *at, double *out);

/* As keys_number, in the range of the row. */
bool keys_number_in(struct loader *ld, const struct config_setting_t *at, const struct key *key, double *out);

/* "temp", or "element 2 of tanks". buf holds KEYS_LABEL_MAX bytes. */
#define KEYS_LABEL_MAX 96
const char *keys_label(const struct config_setting_t *at, char *buf);

/* The setting is a group { }, a list ( ), or a list or array [ ]; told when it is another thing. */
bool keys_is_group(struct loader *ld, const struct config_setting_t *at);
bool keys_is_list(struct loader *ld, const struct config_setting_t *at);
bool keys_is_sequence(struct loader *ld, const struct config_setting_t *at);

/* A copy that lives as long as the site. */
const char *keys_keep(struct loader *ld, const char *s);

/* Two numbers [lo, hi], or { lo = ..; hi = ..; } with one side or both; into *span, sides not named
 * untouched. */
void keys_span(struct loader *ld, const struct config_setting_t *at, enum quantity q, struct span *span);

/* A group of quantities with amounts above zero, { temp = 1.5; ec = 30.0; }, into double[Q_COUNT]. For
 * KEY_APPLY. */
void keys_amounts(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);

/* The name of a quantity into an enum quantity (Q_COUNT when there is none of that name, which is told). For
 * KEY_APPLY. */
void keys_quantity(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target);

/* ": did you mean "x"?" or the known words; count of them. buf is returned. */
#define KEYS_HINT_MAX 200
const char *keys_hint(const char *word, const char *const *known, size_t count, char *buf);

#endif
