/* Runs the configured command with a message on its standard input: one at a time, beside the main loop.
 *
 * No shell: the words go to the program as they are. The command gets PATH, LANG and the LENTIC_ variables of
 * its job, standard input, output and error, and nothing else of ours. When the time is up its whole process
 * group is ended. Main thread only. */
#ifndef LENTIC_ADAPTERS_NOTIFY_H
#define LENTIC_ADAPTERS_NOTIFY_H

#include "base/status.h"
#include "base/times.h"

struct notify;

#define NOTIFY_OUTPUT_MAX    400 /* bytes of the command's output kept for the log */
#define NOTIFY_VARIABLES_MAX 16
#define NOTIFY_GRACE_MS      INT64_C(2000) /* between asking to end and ending it */

struct notify_job {
    int64_t id;                 /* given back with the result */
    const char *const *command; /* argv, NULL-terminated; a name without a slash is looked up in PATH */
    int timeout_s;              /* 1 or more */
    const char *input;          /* text or JSON, as the caller likes */
    size_t input_len;
    const char *const *variables; /* "LENTIC_NAME=value", at most NOTIFY_VARIABLES_MAX; others are left out */
    int variable_count;
};

struct notify_result {
    int64_t id;
    bool delivered; /* ended with 0 in time */
    bool timed_out;
    int exit_code;                      /* -1: ended by a signal */
    char text[NOTIFY_OUTPUT_MAX + 160]; /* how it ended, with what it said: one printable line */
};

enum status notify_open(struct notify **out, struct why *why) LENTIC_CHECKED;
/* Ends a command that still runs. */
void notify_close(struct notify *notify);

/* STATUS_FULL: one is running. STATUS_INVALID: no command. STATUS_IO: it cannot be started, with the reason.
 */
enum status notify_start(struct notify *notify, const struct notify_job *job, mono_t now,
                         struct why *why) LENTIC_CHECKED;

/* Readable when notify_advance has something to do. */
int notify_fd(const struct notify *notify);
mono_t notify_deadline(const struct notify *notify);
void notify_advance(struct notify *notify, mono_t now);

bool notify_busy(const struct notify *notify);
/* Fills the result of the command that ended, once. */
bool notify_take_result(struct notify *notify, struct notify_result *out);

#endif
