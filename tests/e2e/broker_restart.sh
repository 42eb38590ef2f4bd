#!/bin/bash
# The broker goes and comes back empty: the daemon subscribes again, and everything derived stands there again.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
pub probes/a1/temp 18.0
hear heard "$base/#"
must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK"
stop_broker
sleep 1.5
kill -0 "$daemon" || fail "the daemon ended with the broker"
start_broker
wait_for 30 online || fail "not online after the broker came back"
hear after "$base/#"
must_hear after "^$base/tank/a1 .*\"temp\""
must_hear after "^$base/alert/tank/a1/temp-low 1 .*UNACK"
pub probes/a1/temp 22.5
must_hear after "^$base/alert/tank/a1/temp-low 0 .*RTNUN"
must_hear after "^$base/event .*\"clear\""
wait_for 10 stored a1 temp 2 || fail "not two readings: $(past a1 temp)"
[ "$(heard_times after "^$base/event .*raise.*temp-low")" -eq 0 ] || fail "raised again by the broker's restart"

# Started before its broker.
stop_daemon
stop_broker
start_daemon
sleep 1
kill -0 "$daemon" || fail "the daemon ended without a broker"
start_broker
wait_for 30 online || fail "not online after a late broker"
stop_daemon
