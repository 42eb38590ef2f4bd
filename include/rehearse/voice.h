/* One sender: a probe entry of the configuration at one place, with its topic, cadence, form of payload and
 * habits (dropouts, pauses, a code instead of a value after power-up). */
#ifndef LENTIC_REHEARSE_VOICE_H
#define LENTIC_REHEARSE_VOICE_H

#include "base/arena.h"
#include "base/text.h"
#include "rehearse/sensor.h"

struct voice {
    const struct probe_entry *entry; /* the site's */
    int place;
    const char *topic;
    struct sensor *sensors; /* entry->value_count of them */
    double every_s;
    double next_s; /* from the start */
    bool retained; /* publishes with the retain flag */
    bool as_text;  /* every other number as a JSON string */
    bool waking;   /* the next message carries the codes of a probe that has just powered up */
    char last[24]; /* last number, for probes that publish on change only */
    struct dice dice;
};

struct voice_input {
    struct sensor_input sense;
    bool silent; /* this value is left out */
};

/* Pieces live in the arena. least_every_s: no message more often than that. */
struct voice voice_init(const struct site *site, const struct probe_entry *entry, int place, uint64_t seed,
                        double least_every_s, struct arena *arena);

/* Writes the payload of the message that is due, and plans the next. inputs: one for each value. own: the
 * payload's time, where the entry has one. False: nothing is sent this time. */
bool voice_speak(struct voice *v, const struct voice_input *inputs, utc_t own, struct text *payload);

#endif
