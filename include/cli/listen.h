/* Inside of `lentic listen`: what is heard on a broker, what each value may measure, and the probe entries
 * that a keeper can paste. Hearing gathers numbers, guessing judges them, writing groups them. */
#ifndef LENTIC_CLI_LISTEN_H
#define LENTIC_CLI_LISTEN_H

#include <stdio.h>
#include "model/message.h"
#include "model/quantity.h"
#include "model/site.h"

#define LISTEN_STREAMS_MAX 4096
#define LISTEN_GAPS_MAX    32
#define LISTEN_TOPIC_MAX   200
#define LISTEN_POINTER_MAX 120
#define LISTEN_OWN_MAX     1024

/* One value of one topic (of one device, where several speak on one topic). */
struct listen_stream {
    char topic[LISTEN_TOPIC_MAX];
    char pointer[LISTEN_POINTER_MAX]; /* "": the payload is the bare number */
    char list_at[LISTEN_POINTER_MAX]; /* with listed: the list whose items are documents */
    bool listed;
    char device_at[LISTEN_POINTER_MAX], device[64]; /* member that tells devices apart, and its value */
    char time_at[LISTEN_POINTER_MAX];               /* the probe's own time; "": none */
    char unit_at[LISTEN_POINTER_MAX], unit[24];     /* announced in the payload or by a description */
    char label[64];                                 /* name by which a description calls it */
    bool settable;                                  /* a description says that it is a wish */
    bool comma, thousands;                          /* "24,5"; "1,234", which may be either */
    const char *barred; /* why no entry can name it; NULL. What it is called was made printable */
    long heard, live;   /* live: not replayed by the broker */
    long numbers, words;
    double lo, hi;                  /* of the numbers, error codes aside */
    bool codes[2];                  /* 85, -127 were among them */
    bool fractions;                 /* not only whole numbers */
    double gaps_s[LISTEN_GAPS_MAX]; /* between live messages, the newest ones */
    int gap_count;
    int64_t last_ms;
    char sample[40];
};

/* What a Homie device says of a property, by its topic. */
struct listen_label {
    char topic[LISTEN_TOPIC_MAX], name[64], unit[24];
    bool settable, is_text;
};

struct listen_heard {
    struct listen_stream *streams;
    int count;
    struct listen_label *labels;
    int label_count;
    long messages, beyond;         /* beyond: values that found no room, or have too long a name */
    char (*own)[LISTEN_TOPIC_MAX]; /* what is below these is Lentic's own voice */
    int own_count;
};

/* STATUS_IO: no memory. own: publish.base of a configuration at hand, or NULL; what Lentic publishes is also
 * known by itself. */
enum status listen_init(struct listen_heard *heard, const char *own) LENTIC_CHECKED;
void listen_fini(struct listen_heard *heard);
void listen_take(struct listen_heard *heard, const struct message *m);

/* Names and units from the descriptions onto the streams; sorts them by topic, device, pointer. */
void listen_settle(struct listen_heard *heard);

/* What is below is Lentic's own: no probe. */
void listen_own(struct listen_heard *heard, const char *front);

/* Makes it printable: what came from outside must not steer a terminal, nor leave a comment of the
 * configuration. True when something was replaced. */
bool listen_clean(char *s);

/* A Homie topic (convention 4 or 5): true when it was a description or another attribute, no value. */
bool listen_homie(struct listen_heard *heard, const struct message *m);

enum listen_sure { LISTEN_NOT_WATER, LISTEN_DOUBTFUL, LISTEN_LIKELY, LISTEN_SURE };

struct listen_guess {
    enum listen_sure sure;
    enum quantity quantity; /* Q_COUNT: none */
    const char *unit;       /* as to be configured; "" for bare numbers */
    double every_s;         /* NaN: not steady, or not heard often enough */
    char reason[160];       /* what speaks for it, or what is in doubt */
};

struct listen_guess listen_guess(const struct listen_stream *s);

/* The entries, with what is doubtful commented out and why. site NULL: the tanks are not known. Returns how
 * many entries can be used as they stand. */
int listen_write(FILE *out, const struct listen_heard *heard, const struct site *site);

/* Every stream with its guess as one JSON object. */
void listen_write_json(FILE *out, const struct listen_heard *heard);

#endif
