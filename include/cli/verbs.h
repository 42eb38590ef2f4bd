/* The verbs of the command line: one line each is all that main needs to know. */
#ifndef LENTIC_CLI_VERBS_H
#define LENTIC_CLI_VERBS_H

/* NAME stands for `lentic NAME` and for int NAME_main(int argc, char **argv) in daemon/cli/NAME.c; argv[0] is
 * the verb. Returns the exit code: 0 done, 1 the answer is no, 2 usage or configuration, 3 cannot reach
 * broker or store. In the order of the help. */
#define VERBS(X) \
    X(calc, "every formula: calc --list, calc NAME key=value ...")

#define VERB_DECLARE(name, about) int name##_main(int argc, char **argv);
VERBS(VERB_DECLARE)

#endif
