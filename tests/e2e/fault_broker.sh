#!/bin/bash
# The broker is killed: for minutes of the daemon's time, which then goes 60 times as fast as ours; then one with a memory,
# while readings wait in it. FAULT_ROUNDS: how many minutes (12).
. "$(dirname "$0")/lib.sh"
make_time
minutes=${FAULT_ROUNDS:-12}
start_broker
write_conf "" "" ", { topic = \"probes/{tank}/ph\"; measures = \"ph\"; every_s = 60; }"
sed -i 's/publish = {/publish = { homie = false;/' "$conf"
start_timed
hear before "$base/alert/#"
pub probes/a1/ph 7.1
pub probes/a1/temp 18.0
must_hear before "^$base/alert/tank/a1/temp-low .*UNACK"
kill_broker
lines=$(wc -l <"$work/daemon.log")
set_time 0 60
sleep "$minutes"
set_time 0 10
kill -0 "$daemon" || fail "the daemon ended with the broker"
told=$(($(wc -l <"$work/daemon.log") - lines))
[ $told -le 8 ] || fail "the log tells it $told times: $(tail -5 "$work/daemon.log")"
start_broker
begin=$(now_ms)
wait_for 20 online || fail "not online after the broker came back"
set_time 0 1
away=$((($(now_ms) - begin) / 100))
hear after "$base/#"
pub probes/a1/ph 7.1
pub probes/a1/temp 22.5
must_hear after "^$base/alert/tank/a1/temp-low 0 .*RTNUN"
must_hear after "^$base/alert/lentic/broker-down .*(RTNUN|NORM)"
pub probes/a1/ph 7.1
two() { [ "$(query "SELECT count(*) FROM stored WHERE value IN (18.0, 22.5)")" -eq 2 ]; }
wait_for 10 two || fail "not two readings"
raised() { query "SELECT count(*) FROM alert_change WHERE ref LIKE '$1' AND change = 'raise' $2"; }
[ "$(raised '%/temp-low' '')" -eq 1 ] || fail "temp-low was raised $(raised '%/temp-low' '') times"
[ "$(raised lentic/broker-down '')" -eq 1 ] || fail "broker-down was raised $(raised lentic/broker-down '') times"
[ "$(raised '%silent%' 'AND announced')" -eq 0 ] || fail "told of silent probes: the broker is the cause"
figure "broker absent for $minutes min" $away "s of its time until it was heard again; told once, $told lines of log, nothing raised twice"
stop_daemon

# With a memory, and a store that knows nothing of the hurried clock: what it took while we were away, and kept over its own death, comes when both are back.
stop_broker
rm -rf "$work"/lentic.db* "$work/run"
kept=$work/kept
mkdir "$kept"
chmod 777 "$work" "$kept"
start_broker_that_remembers() {
    printf 'listener %d 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location %s/\nautosave_on_changes true
autosave_interval 1\n' "$port" "$kept" >"$work/broker.conf"
    mosquitto -c "$work/broker.conf" </dev/null >>"$work/broker.out" 2>&1 &
    broker=$!
    wait_for 5 listens "$port" || fail "no broker"
}
start_broker_that_remembers
start_daemon_online
stop_daemon
for i in 1 2 3 4 5; do pub probes/a2/temp 23.$i; done
sleep 2
kill_broker
start_broker_that_remembers
start_daemon_online
wait_for 20 stored a2 temp 5 || fail "$(past a2 temp | wc -l) of 5 readings that a broker with a memory kept"
stop_daemon
figure "broker killed, with a memory" 5 "readings waited in it over its death; none lost, none twice"
