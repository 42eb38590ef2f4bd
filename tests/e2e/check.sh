#!/bin/bash
# lentic check as a keeper types it: lines with file and number, exit codes, JSON.
set -u
lentic=${LENTIC_BIN:?}/lentic
root=$(cd "$(dirname "$0")/../.." && pwd)
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
fails=0

# expect CODE WORDS ARGUMENTS...: that exit code, and the words in what was said
expect() {
    local code=$1 words=$2 said got
    shift 2
    said=$("$lentic" check "$@" 2>&1)
    got=$?
    if [ $got -ne "$code" ] || ! grep -qF -- "$words" <<<"$said"; then
        echo "lentic check $*: exit $got, want $code with \"$words\"; it said: $said"
        fails=$((fails + 1))
    fi
}

cat >"$work/bad.conf" <<'CONF'
site = { id = "millrace"; altitud_m = 85.0; };
tanks = ( { id = "a1"; volume_l = 0.1; } );
CONF

for sample in "$root"/conf/lentic.conf "$root"/conf/room.conf; do
    expect 0 "sound: 8 tanks, 3 waters" "$sample"
    expect 0 '"sound":true' --json "$sample"
done
expect 2 "$work/bad.conf:1: unknown key \"altitud_m\" in site; did you mean \"altitude_m\"?" "$work/bad.conf"
expect 2 "$work/bad.conf:2: volume_l must be 0.2 to 20000 L, not 0.1" "$work/bad.conf"
expect 2 "$work/bad.conf: 2 faults" "$work/bad.conf"
expect 2 '"errors":2,"warnings":0,"faults":[{"file":' --json "$work/bad.conf"
expect 2 "cannot read \"$work/none.conf\"" "$work/none.conf"
expect 2 "name one file" 
expect 2 "there is no option --jsn; did you mean --json?" --jsn "$work/bad.conf"
expect 0 "every fault" --help
# Help fits a terminal of 80 columns; only examples may run over.
columns() { LC_ALL=C.UTF-8 wc -L; }
[ "$("$lentic" --help | columns)" -le 80 ] || { echo "lentic --help is too wide"; fails=$((fails + 1)); }
for verb in $("$lentic" --help | awk '/^  [a-z]/ { print $1 }'); do
    [ "$verb" = calc ] || [ "$("$lentic" "$verb" --help | grep -v '^ ' | columns)" -le 80 ] || {
        echo "lentic $verb --help is too wide"
        fails=$((fails + 1))
    }
done
[ $fails -eq 0 ]
