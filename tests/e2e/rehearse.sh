#!/bin/bash
# The simulated room as a keeper uses it: captures that repeat, truth beside them, publishing to a broker, and slips
# told with the exit codes of the house.
set -u
lentic=$LENTIC_BIN/lentic
source_dir=$(cd "$(dirname "$0")/../.." && pwd)
dir=$(mktemp -d)
broker=''
listener=''
finish() {
    [ -n "$listener" ] && kill "$listener" 2>/dev/null
    [ -n "$broker" ] && kill "$broker" 2>/dev/null
    wait 2>/dev/null
    rm -rf "$dir"
}
trap finish EXIT
fail() {
    echo "FAILED: $*" >&2
    exit 1
}
conf=$source_dir/conf/room.conf

# A capture repeats with its seed and differs with another.
capture() {
    "$lentic" rehearse --conf "$conf" --days 0.5 --capture "$dir/$1" --seed "$2" "${@:3}" >"$dir/said" || fail "capture $1"
}
capture one 3 --truth "$dir/truth" --fault heater-dead@tank=b4,at=1h
capture again 3 --fault heater-dead@tank=b4,at=1h
capture other 4
cmp -s "$dir/one" "$dir/again" || fail 'the same seed gave another capture'
cmp -s "$dir/one" "$dir/other" && fail 'another seed gave the same capture'
grep -q '"tank":"b4".*"faults":\["heater-dead"\],"left":\["temp"\]' "$dir/truth" || fail 'truth without the fault'
grep -q '"retain":1' "$dir/one" || fail 'no retained replay'
"$lentic" rehearse --conf "$conf" --days 0.01 --capture - 2>"$dir/summary" | head -1 | grep -q '^{"tst":"2026-03-01T' ||
    fail 'a capture on standard output'

# Slips.
slip() {
    local code=$1 sentence=$2
    shift 2
    "$lentic" rehearse "$@" >"$dir/said" 2>&1
    [ $? -eq "$code" ] || fail "exit code of: $*"
    grep -qF -- "$sentence" "$dir/said" || fail "$* said: $(cat "$dir/said")"
}
slip 2 'did you mean "heater-dead"?' --conf "$conf" --capture - --fault heater-ded@tank=a1,at=1h
slip 2 'there is no tank "zz"' --conf "$conf" --capture - --fault leak@tank=zz,at=1h
slip 2 'did you mean --speed?' --conf "$conf" --sped 3
slip 2 'not a sound configuration' --conf "$dir/none.conf" --capture -
slip 2 '--start takes a time' --conf "$conf" --capture - --start yesterday
slip 3 'cannot be written' --conf "$conf" --days 1 --capture "$dir/no/where"
slip 0 'probe-out-of-water' --list-faults

# Publishing, where there is a broker to publish to.
PATH=$PATH:/usr/sbin
command -v mosquitto mosquitto_sub >/dev/null || exit 77
port=$((20000 + RANDOM % 20000))
printf 'listener %d 127.0.0.1\nallow_anonymous true\n' "$port" >"$dir/broker.conf"
mosquitto -c "$dir/broker.conf" >"$dir/broker.log" 2>&1 &
broker=$!
for _ in $(seq 50); do
    mosquitto_pub -h 127.0.0.1 -p "$port" -t up -m 1 2>/dev/null && break
    sleep 0.1
done
mosquitto_sub -h 127.0.0.1 -p "$port" -t '#' -F '%t %p' >"$dir/heard" &
listener=$!
sleep 0.5
"$lentic" rehearse --conf "$conf" --broker "127.0.0.1:$port" --speed 100 --days 0.006 --json >"$dir/said" || fail 'publishing'
sleep 0.3
grep -q '"lost":0' "$dir/said" || fail "$(cat "$dir/said")"
grep -qE '^probes/a1/temp [0-9.]+$' "$dir/heard" || fail 'no plain number'
grep -qE '^rack-b/b1/state \{"t":.*"temperature":[67][0-9]' "$dir/heard" || fail 'no nested document in Fahrenheit'
grep -qE '^loggers/logger-b3/report \{"ts":[0-9]{13},' "$dir/heard" || fail 'no document with a time in milliseconds'
exit 0
