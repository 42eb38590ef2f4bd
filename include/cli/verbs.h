/* The verbs of the command line: one line each is all that main needs to know. */
#ifndef LENTIC_CLI_VERBS_H
#define LENTIC_CLI_VERBS_H

/* NAME stands for `lentic NAME` and for int NAME_main(int argc, char **argv) in daemon/cli/NAME.c; argv[0] is
 * the verb. Returns the exit code: 0 done, 1 the answer is no, 2 usage or configuration, 3 cannot reach
 * broker or store. In the order of the help. */
#define VERBS(X)                                                                                             \
    X(check, "every fault of a configuration, with its line")                                                \
    X(listen, "hears a broker and proposes the entries of its probes")                                       \
    X(now, "the board of all tanks, and what is wrong with them")                                            \
    X(probes, "health of every probe: age, cadence, share of good readings, calibration")                    \
    X(calibrate, "a probe in buffers, standards, beside a reference; undo, history")                         \
    X(alerts, "what stands, why and what to do; --past what was; --test whether messages arrive")            \
    X(ack, "an alert was seen, somebody deals with it")                                                      \
    X(reset, "puts back a latched alert that is over")                                                       \
    X(shelve, "puts an alert aside for a limited time")                                                      \
    X(unshelve, "ends that before its time")                                                                 \
    X(service, "work on a tank goes on: what it disturbs tells nobody")                                      \
    X(out, "takes an alert out of service until further notice")                                             \
    X(back, "puts it back in service")                                                                       \
    X(note, "writes into the journal: tests, changes, batches, animals; corrects, lists")                    \
    X(learn, "what logged batches teach of salts and waters, with its evidence")                             \
    X(colony, "a tank's animals on one time line with its water; when eggs may hatch")                       \
    X(past, "history of one quantity: chart and table, CSV, JSON")                                           \
    X(report, "a stretch of time as one HTML page: curves, figures, alerts, journal; to read and print")     \
    X(export, "everything of a span, as CSV or JSON lines")                                                  \
    X(backup, "a checked copy of the store, while the service runs")                                         \
    X(restore, "puts such a copy in the place of the store")                                                 \
    X(replay, "a capture through the engine: what the daemon would have done")                               \
    X(plan, "the coming days: changes, water to prepare, salts to weigh, tests and calibrations due")        \
    X(mix, "salts to weigh for a batch of water")                                                            \
    X(change, "water changes that bring a tank to a value")                                                  \
    X(topoff, "purified water against evaporation")                                                          \
    X(blend, "litres of two waters that make a third")                                                       \
    X(acclimate, "a drip schedule for new animals")                                                          \
    X(rehearse, "a simulated room that publishes like real probes, with faults on request")                  \
    X(calc, "every formula: calc --list, calc NAME key=value ...")

#define VERB_DECLARE(name, about) int name##_main(int argc, char **argv);
VERBS(VERB_DECLARE)

#endif
