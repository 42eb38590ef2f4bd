#!/bin/bash
# The keeper's verbs about alerts, against a running service: what stands is told in sentences, is answered, and the
# past of it is in the store; exit codes of the house.
. "$(dirname "$0")/lib.sh"
export COLUMNS=400
start_broker
write_conf ""

# does CODE PATTERN VERB...: the verb ends with that code and says something like it
does() {
    local code=$1 pattern=$2 got=0
    shift 2
    "$lentic" "$@" --conf "$conf" >"$work/said" 2>&1 || got=$?
    [ $got -eq "$code" ] || fail "lentic $* ended with $got: $(cat "$work/said")"
    grep -qE -- "$pattern" "$work/said" || fail "lentic $* said: $(cat "$work/said")"
}

# Nobody is there yet.
does 3 'no answer' ack a1/temp-low
does 3 'No word from the service' alerts
start_daemon_online

does 0 'No alerts stand' alerts
does 1 'ack.*nothing waits to be acknowledged' ack a1/temp-low
does 2 'did you mean "a1/temp-low"|did you mean "tank/a1/temp-low"' ack tank/a1/temp-lwo
does 2 'give one' ack
hear heard "$base/event"
hear answers "$base/answer/#" "$base/done"
pub probes/a1/temp 18.0
must_hear heard '"change":"raise".*temp-low'
does 1 'HIGH tank/a1: temperature below the band' alerts
does 1 'Do now: Find out why' alerts
does 1 'lentic ack tank/a1/temp-low' alerts
does 1 '^\{"t":.*"alerts":\[\{.*"id":"tank/a1/temp-low"' alerts --json

does 0 'tank/a1/temp-low is active, acknowledged' ack a1/temp-low --who Ann --why 'spare heater is in'
must_hear answers "^$base/answer/lentic-ack-[0-9]+ 0 .*\"ok\":true"
does 1 'acknowledged, by Ann \(spare heater is in\)' alerts
does 2 'say for how long' shelve a1/temp-low --why x
does 2 'say why' shelve a1/temp-low --for 2h
does 2 'out of range' shelve a1/temp-low --for 3d --why x
does 0 'tank/a1/temp-low is put aside' shelve a1/temp-low --for 2h --why 'known' --who Ann
does 0 '1 put aside or out of service: --all shows it' alerts
does 0 'put aside until .*, by Ann \(known\)' alerts --all
does 0 '"ok":true,"command":"unshelve","text":"tank/a1/temp-low is active, not' unshelve a1/temp-low --json
does 1 'it is not shelved' unshelve a1/temp-low
does 0 'ends by itself in 45 min' service a1 --for 45m --what change --who Ann
does 2 'for a tank' service a1/temp-low
does 0 'service window ended' service a1 --end
does 1 'no service window is open' service a1 --end
does 0 'alerts changed' out a1 --why 'stands empty' --who Ann
does 0 'out of service until further notice, by Ann \(stands empty\)' alerts --all
does 0 '' back a1
does 1 'only a latched alert' reset a1/temp-low
wait_for 5 online || fail 'the service went away'
does 0 'BEGAN +high +tank/a1/temp-low' alerts --past 1h
does 0 'put aside +high +tank/a1/temp-low by Ann \(known\)' alerts --past 1h
does 0 '"change":"raise","announced":true' alerts --past 1h --json
python3 -c 'import json,sys; json.load(sys.stdin)' < <("$lentic" alerts --past 1h --json --conf "$conf") || fail 'no JSON'

# A test without a second path, and one asked with the 3.1.1 protocol.
does 0 'MQTT: the test message came through' alerts --test
grep -q 'no second path' "$work/said" || fail "$(cat "$work/said")"
sed 's/broker = {/broker = { mqtt_version = 3;/' "$conf" >"$work/old.conf"
"$lentic" ack a1/temp-low --conf "$work/old.conf" >"$work/said" 2>&1 || fail "3.1.1: $(cat "$work/said")"
must_hear answers "^$base/done 0 .*\"ok\":true,\"command\":\"ack\""
stop_daemon
does 3 'THE SERVICE IS NOT RUNNING' alerts --all
stop_broker
does 3 'no connection to the broker' ack a1
