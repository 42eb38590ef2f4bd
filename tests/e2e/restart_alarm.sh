#!/bin/bash
# A standing alert is neither repeated nor forgotten over a clean restart and over SIGKILL, with its time and its
# acknowledgement; what happened while the daemon was away is taken up.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
hear heard "$base/#"
raises() { heard_times heard "^$base/event .*\"change\":\"raise\".*tank/a1/temp-low"; }
clears() { heard_times heard "^$base/event .*\"change\":\"clear\".*tank/a1/temp-low"; }
retained() { mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/alert/tank/a1/temp-low -C 1 -W 3; }
since() { retained | sed -nE 's/.*"since":"([^"]+)".*/\1/p'; }

pub probes/a1/temp 18.0
must_hear heard "^$base/event .*\"raise\".*temp-low"
before=$(since)
for how in stop_daemon kill_daemon kill_daemon; do
    $how
    start_daemon_online
    pub probes/a1/temp 18.1
    sleep 1
    [ "$(raises)" -eq 1 ] || fail "$how: raised $(raises) times"
    [ "$(since)" = "$before" ] || fail "$how: since $(since), not $before"
    retained | contains '"state":"UNACK"' || fail "$how: $(retained)"
done

pub $base/do/ack '{"id":"tank/a1/temp-low","who":"Ann","why":"seen"}'
must_hear heard "^$base/alert/tank/a1/temp-low .*\"state\":\"ACKED\""
kill_daemon
start_daemon_online
sleep 0.5
retained | contains '"state":"ACKED".*"who":"Ann"' || fail "the acknowledgement was forgotten: $(retained)"

# It gets well while nobody looks: the broker keeps the message, the clear comes after the start, once.
kill_daemon
pub probes/a1/temp 22.0
start_daemon_online
must_hear heard "^$base/event .*\"change\":\"clear\".*temp-low"
must_hear heard "^$base/alert/tank/a1/temp-low 0 *$"
kill_daemon
start_daemon_online
sleep 1
[ "$(clears)" -eq 1 ] || fail "cleared $(clears) times"
[ "$(raises)" -eq 1 ] || fail "raised $(raises) times"
[ -z "$(retained 2>/dev/null)" ] || fail "a ghost stands at the broker: $(retained)"

# And it falls ill while nobody looks.
stop_daemon
pub probes/a1/temp 17.0
start_daemon_online
wait_for 10 heard heard "^$base/alert/tank/a1/temp-low 0 .*\"raise\".*\"value\":17.00" || fail "what began while away was not raised"
[ "$(raises)" -eq 2 ] || fail "raised $(raises) times"
stop_daemon
