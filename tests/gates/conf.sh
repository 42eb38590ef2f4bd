#!/bin/bash
# Every whole configuration in conf/ passes `lentic check` without a warning; parts of one are included by one, or could be.
# usage: conf.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
lentic=$2/lentic
faults=0 whole=0
for file in conf/*.conf; do
    if ! grep -qE '^[[:space:]]*site[[:space:]]*[=:]' "$file"; then
        grep -qE "^[[:space:]#]*@include \"$(basename "$file")\"" conf/*.conf || {
            echo "$file: no whole configuration, and none includes it"
            faults=$((faults + 1))
        }
        continue
    fi
    whole=$((whole + 1))
    if ! said=$("$lentic" check "$file" 2>&1) || grep -qi warning <<<"$said"; then
        echo "$file: $said"
        faults=$((faults + 1))
    fi
done
echo "$whole configurations, $faults faults"
[ "$faults" -eq 0 ] && [ "$whole" -gt 0 ]
