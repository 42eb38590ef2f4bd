#!/bin/bash
# No promises instead of work, no paths of one machine, no carriage returns.
# usage: words.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
faults=0
look() {
    local title=$1 pattern=$2 found
    found=$(grep -rnIP "$pattern" -s --exclude=words.sh ./*.txt ./*.md .ci daemon include conf systemd tests scripts || true)
    [ -z "$found" ] && return
    echo "$title:"
    cut -c1-160 <<<"$found" | head -20
    faults=$((faults + 1))
}
look 'work left undone' '\b(TODO|FIXME|HACK|TBD)\b|\bXXX\b(?!-)'
look 'paths of one machine' '(?<![\w.])/(home|root|work|Users)/\w'
look 'carriage returns' '\r$'
[ "$faults" -eq 0 ]
