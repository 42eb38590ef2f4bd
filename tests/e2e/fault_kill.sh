#!/bin/bash
# Killed again and again under load: every message that the broker took is in the store exactly once, and an alert that
# stands is neither raised again nor forgotten. FAULT_ROUNDS: how many times (6).
. "$(dirname "$0")/lib.sh"
rounds=${FAULT_ROUNDS:-6}
count=$((700 * rounds))
start_broker
write_conf ""
start_daemon_online
hear heard "$base/event" "$base/alert/#"
pub probes/a1/temp 18.0
must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK"
begin=$(($(now_ms) - 3600000 * 10))

# About a thousand a second, each with a time and a value of its own.
load() {
    for ((i = 0; i < count; i++)); do
        echo "{\"t\":$((begin + i * 100)),\"ec\":$((100 + i)).5}"
        [ $((i % 100)) -ne 99 ] || sleep 0.1
    done | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a1 -l
}
load &
load=$!
for ((round = 0; round < rounds; round++)); do
    sleep 0.$((RANDOM % 7 + 2))
    kill_daemon
    start_daemon
done
wait $load || fail "the publisher failed"
wait_for 60 stored a1 ec $count || true
past a1 ec | cut -d, -f6 | sort -n >"$work/got"
seq 100 $((99 + count)) | sed 's/$/.5/' >"$work/wanted"
if ! cmp -s "$work/got" "$work/wanted"; then
    diff "$work/wanted" "$work/got" | head -10 || true
    fail "$(wc -l <"$work/got") rows, $(sort -u "$work/got" | wc -l) values, for $count messages"
fi
wait_for 20 online || fail "not online after the last kill"
pub probes/a1/temp 22.5
must_hear heard "^$base/event .*\"clear\".*temp-low|^$base/event .*temp-low.*\"clear\""
raises=$(heard_times heard "^$base/event .*temp-low.*\"raise\"|^$base/event .*\"raise\".*temp-low")
[ "$raises" -eq 1 ] || fail "temp-low was raised $raises times over $rounds kills"
stop_daemon
figure "kills under load" $rounds "messages $count, lost 0, twice 0; the alert raised once, cleared once"
