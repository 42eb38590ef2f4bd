#!/bin/bash
# Every verb of the command line stands in the manual page and in the README.
# usage: verbs.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
faults=0
for verb in $(sed -nE 's/^ *X\(([a-z]+),.*/\1/p' include/cli/verbs.h); do
    grep -qE "^\.BR? .*\b$verb\b" systemd/man/lentic.1 || { echo "systemd/man/lentic.1 does not tell of $verb"; faults=$((faults + 1)); }
    grep -q "\`$verb\`" README.md || { echo "README.md does not list $verb"; faults=$((faults + 1)); }
done
[ "$faults" -eq 0 ]
