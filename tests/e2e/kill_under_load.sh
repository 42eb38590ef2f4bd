#!/bin/bash
# Killed again and again under load: every message that the broker took is in the store, exactly once.
. "$(dirname "$0")/lib.sh"
count=4000
start_broker
write_conf ""
start_daemon_online
begin=$(($(now_ms) - 3600000))

# About a thousand a second, each with a time and a value of its own.
load() {
    for ((i = 0; i < count; i++)); do
        echo "{\"t\":$((begin + i * 100)),\"ec\":$((100 + i)).5}"
        [ $((i % 100)) -ne 99 ] || sleep 0.1
    done | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a1 -l
}
load &
load=$!
for pause in 0.7 0.4 0.9 0.3 0.6 0.8; do
    sleep $pause
    kill_daemon
    start_daemon
done
wait $load || fail "the publisher failed"
wait_for 40 stored a1 ec $count || true
past a1 ec | cut -d, -f6 | sort -n >"$work/got"
seq 100 $((99 + count)) | sed 's/$/.5/' >"$work/wanted"
if ! cmp -s "$work/got" "$work/wanted"; then
    diff "$work/wanted" "$work/got" | head -10 || true
    fail "$(wc -l <"$work/got") rows, $(sort -u "$work/got" | wc -l) values, for $count messages"
fi
stop_daemon
