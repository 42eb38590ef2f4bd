#!/bin/bash
# Two daemons with one client id, as after a copied configuration: they do not throw each other out for ever, say what is
# wrong, and once the second is gone the first works on; it has what the broker gave it exactly once.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
sed -i 's/publish = {/publish = { homie = false;/' "$conf"
sed "s#$work/lentic.db#$work/second.db#; s#$work/run#$work/run2#" "$conf" >"$work/second.conf"
start_daemon_online
"$lenticd" --conf "$work/second.conf" </dev/null >>"$work/second.log" 2>&1 &
second=$!
listeners+=($second)
told() { grep -q 'another client' "$work/daemon.log" "$work/second.log"; }
wait_for 40 told || fail "neither says that another client uses its id: $(tail -2 "$work"/*.log)"
# Connections that the broker takes in a while, by its own account of clients that connected.
sleep 12
taken=$(grep -c 'New client connected.*lentic' "$work/broker.out" || true)
[ "$taken" -le 12 ] || fail "$taken connections: they throw each other out"
kill $second
wait $second || fail "the second one did not end well"
wait_for 45 online || fail "the first one did not come back"
pub probes/a1/temp 18.0
hear heard "$base/alert/#"
must_hear heard '/temp-low .*UNACK' 40
wait_for 15 stored a1 temp 1 || fail "$(past a1 temp | wc -l) readings of 1"
figure "two daemons with one client id" "$taken" "connections in the quarrel; told, and one works on when the other is gone"
stop_daemon
