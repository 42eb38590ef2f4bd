#!/bin/bash
# What the broker repeats is no news: without a time of its own it is never a reading; with one it counts once.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
t=$(($(now_ms) - 5000))
pub probes/a1/temp 12.0 -r
pub docs/a1 "{\"t\":$t,\"ec\":333}" -r
start_daemon_online
hear heard "$base/#"
wait_for 10 stored a1 ec 1 || fail "the retained document with its own time is not there once: $(past a1 ec)"
sleep 1
heard heard 'temp-low' && fail "a retained value without a time raised an alert"
stored a1 temp 0 || fail "a retained value without a time was stored"

# A live one counts, though it is retained too; the repeat at the next subscription does not.
pub probes/a1/temp 18.0 -r
must_hear heard "^$base/event .*\"raise\".*temp-low"
kill_daemon
start_daemon_online
pub probes/a2/temp 21.0
wait_for 10 stored a2 temp 1 || fail "the daemon is deaf after the restart"
sleep 1
stored a1 temp 1 || fail "stored: $(past a1 temp)"
stored a1 ec 1 || fail "the repeat was stored again: $(past a1 ec)"
[ "$(heard_times heard "^$base/event .*\"raise\".*temp-low")" -eq 1 ] || fail "the repeat raised again"
fresh_status 1
[ "$(counter retained_ignored)" -ge 1 ] || fail "ignored retained messages are not counted"
stop_daemon
