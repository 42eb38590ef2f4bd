#!/bin/bash
# Two threads at once and all the time: readings of three publishers pour into the smallest ring while commands are
# answered, the configuration is loaded anew, and the broker goes and comes back. Nothing of what was acknowledged is
# lost. scripts/test threads runs it with ThreadSanitizer. HAND_OVER_COUNT: readings a publisher (5,000).
. "$(dirname "$0")/lib.sh"
count=${HAND_OVER_COUNT:-5000}
start_broker
write_conf ""
sed -i 's/commit_s = 1;/commit_s = 1; inbox_kib = 256;/' "$conf"
start_daemon_online
begin=$(($(now_ms) - 3600000 * 10))
# readings NUMBER FIRST COUNT: each with a time and a value of its own
readings() { awk -v b="$begin" -v p="$1" -v f="$2" -v n="$3" 'BEGIN { for (i = f; i < f + n; i++) printf "{\"t\":%.0f,\"ec\":%d.5}\n", b + (p * 100000 + i) * 10, p * 10000 + i }'; }
pour() { readings "$1" "$2" "$3" | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a1 -l; }
hear heard "$base/done"
publishers=()
for p in 1 2 3; do
    pour $p 1 "$count" &
    publishers+=($!)
done
asked=0
while kill -0 "${publishers[@]}" 2>/dev/null || [ $asked -lt 3 ]; do
    asked=$((asked + 1))
    pub $base/do/service '{"place":"tank/a2","minutes":5}'
    [ $((asked % 2)) -ne 0 ] || kill -HUP "$daemon"
    sleep 0.1
done
wait "${publishers[@]}" || fail "a publisher failed"
begun() { query "SELECT count(*) FROM events WHERE kind = 'service-begin'"; }
carried_out() { [ "$(begun)" -ge $asked ]; }
wait_for 30 carried_out || fail "$(begun) of $asked commands carried out"
answered() { [ "$(heard_times heard "^$base/done ")" -ge $asked ]; }
# A command waits at the broker while the connection is cut to hold an acknowledgement back; its answer, which comes at
# once, may have nowhere to go by then.
wait_for 5 answered || contains 'cut by us to hold back an acknowledgement' "$work/daemon.log" ||
    fail "$(heard_times heard "^$base/done ") answers to $asked commands"
wait_for 60 stored a1 ec $((3 * count)) || fail "$(past a1 ec | wc -l) readings of $((3 * count))"

stop_broker
sleep 0.5
start_broker
wait_for 30 online || fail "not online after the broker came back"
pour 4 1 500
wait_for 30 stored a1 ec $((3 * count + 500)) || fail "$(past a1 ec | wc -l) readings of $((3 * count + 500))"
twice=$(past a1 ec | cut -d, -f6 | sort | uniq -d | wc -l)
[ "$twice" -eq 0 ] || fail "$twice values are there twice"
stop_daemon
figure "three publishers, commands, reloads" $((3 * count + 500)) "readings, none lost, none twice; $asked commands answered"
