#!/bin/bash
# One reading goes the whole way: published, stored, judged, the alert seen, cleared and gone.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
hear heard "$base/#"

pub probes/a1/temp 22.5
must_hear heard "^$base/tank/a1 .*\"temp\":\{\"value\":22.50"
pub probes/a1/temp 18.25
must_hear heard "^$base/alert/tank/a1/temp-low 0 .*\"change\":\"raise\".*\"state\":\"UNACK\".*\"value\":18.25,\"limit\":20.00"
must_hear heard "^$base/event 0 .*\"change\":\"raise\".*temp-low"
must_hear heard "^$base/tank/a1 .*\"alerts\":\[\{\"kind\":\"temp-low\""
hear late "$base/#"
heard late "^$base/alert/tank/a1/temp-low 1 .*\"state\":\"UNACK\"" || fail "the alert is not retained"
"$lentic" now --conf "$conf" --once --json >"$work/now" && fail "now says all is well"
grep -q temp-low "$work/now" || fail "now does not show the alert"

pub $base/do/ack '{"id":"tank/a1/temp-low","who":"Ann"}'
must_hear heard "^$base/alert/tank/a1/temp-low 0 .*\"state\":\"ACKED\""
pub probes/a1/temp 22.25
must_hear heard "^$base/event 0 .*\"change\":\"clear\".*temp-low"
must_hear heard "^$base/alert/tank/a1/temp-low 0 *$"
wait_for 10 stored a1 temp 3 || fail "$(past a1 temp | wc -l) readings are stored, not 3: $(past a1 temp)"
past a1 temp | contains ',18.25,18.25,' || fail "the reading of 18.25 is not in the history: $(past a1 temp)"
[ "$(heard_times heard "^$base/event .*\"raise\".*temp-low")" -eq 1 ] || fail "raised more than once"
"$lentic" now --conf "$conf" --once >"$work/now" || fail "now says that not all is well: $(cat "$work/now")"
stop_daemon
# Nobody watches: that is no good news.
for ask in 'now --once' alerts; do
    status=0
    # shellcheck disable=SC2086 # words
    "$lentic" $ask --conf "$conf" >"$work/now" || status=$?
    [ $status -eq 3 ] && grep -q 'NOT RUNNING' "$work/now" || fail "$ask ends with $status without the service"
done
hear end "$base/status"
heard end '"state":"offline"' || fail "not offline after a clean stop"
