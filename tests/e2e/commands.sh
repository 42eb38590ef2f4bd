#!/bin/bash
# People ask over MQTT: acknowledged, shelved, refused in a sentence; answered on the topic that was asked for.
. "$(dirname "$0")/lib.sh"
command -v mosquitto_rr >/dev/null || exit 77
start_broker
write_conf ""
start_daemon_online
hear heard "$base/#"
# ask COMMAND JSON: MQTT 5 request and response
ask() {
    mosquitto_rr -h 127.0.0.1 -p "$port" -V 5 -q 1 -W 10 -t "$base/do/$1" -e "replies/$$" -D publish correlation-data "c-$1" \
        -m "$2" -F '%D %p' || fail "no answer to $1 $2"
}
# answers COMMAND JSON PATTERN
answers() {
    local said
    said=$(ask "$1" "$2")
    grep -qE -- "$3" <<<"$said" || fail "$1 $2 was answered: $said"
}
answers ack '{"id":"tank/a1/temp-low"}' '"ok":false,"command":"ack","place":"tank/a1"'
pub probes/a1/temp 18.0
must_hear heard "^$base/event .*\"raise\""
answers ack '{"id":"tank/a1/temp-lwo"}' '"ok":false.*there is no alert'
answers ack '{"id":"tank/a1/temp-low","who":"Ann"}' '"ok":true,"command":"ack","place":"tank/a1"'
must_hear heard "^$base/alert/tank/a1/temp-low .*\"state\":\"ACKED\".*\"who\":\"Ann\""
answers shelve '{"id":"tank/a1/temp-low","minutes":2000}' '"ok":false'
answers shelve '{"id":"tank/a1/temp-low","minutes":30,"who":"Ann","why":"new heater tomorrow"}' '"ok":true,"command":"shelve"'
must_hear heard "^$base/alert/tank/a1/temp-low .*\"state\":\"SHLVD\".*new heater tomorrow"
answers unshelve '{"id":"tank/a1/temp-low"}' '"ok":true'
must_hear heard "^$base/alert/tank/a1/temp-low .*\"state\":\"UNACK\""
answers nonsense '{}' '"ok":false,"command":null.*there is no command'

# The correlation data comes back with the answer, and without a response topic the answer is on BASE/done.
mosquitto_sub -h 127.0.0.1 -p "$port" -V 5 -t replies/mine -C 1 -W 10 -F '%D' >"$work/correlation" &
listeners+=($!)
sleep 0.5
pub $base/do/note '{"tank":"a1","what":"feeding"}' -V 5 -D publish response-topic replies/mine -D publish correlation-data c-77
wait "${listeners[-1]}" || true
grep -q 'c-77' "$work/correlation" || fail "correlation data: $(cat "$work/correlation")"
pub $base/do/note '{"tank":"a1","what":"change","litres":3}'
must_hear heard "^$base/done 0 .*\"ok\":true,\"command\":\"note\""
must_hear heard "^$base/event .*\"litres\":3"
must_hear heard "^$base/event .*\"event\":\"command\".*ack tank/a1/temp-low, by Ann"

# The answer says that it is JSON.
mosquitto_sub -h 127.0.0.1 -p "$port" -V 5 -t replies/typed -C 1 -W 10 -F '%C' >"$work/type" &
listeners+=($!)
sleep 0.5
pub $base/do/test '' -V 5 -D publish response-topic replies/typed -D publish content-type application/json
wait "${listeners[-1]}" || true
grep -q '^application/json$' "$work/type" || fail "content type: $(cat "$work/type")"

# Retained: refused now, and refused again at every start; it never acts.
refused_before=$(heard_times heard "^$base/done .*retained")
pub $base/do/shelve '{"id":"tank/a1/temp-low","minutes":10}' -r
must_hear heard "^$base/done 0 .*\"ok\":false.*retained command is never obeyed"
stop_daemon
start_daemon_online
wait_for 10 eval '[ "$(heard_times heard "^$base/done .*retained")" -ge $((refused_before + 2)) ]' || fail "taken at a start"
mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/alert/tank/a1/temp-low -C 1 -W 5 | contains SHLVD && fail "a retained command acted"
pub $base/do/shelve '' -r

# Expired while nobody was here: the broker keeps it for the session and drops it in time.
stop_daemon
pub $base/do/shelve '{"id":"tank/a1/temp-low","minutes":10}' -V 5 -D publish message-expiry-interval 1
sleep 2.5
start_daemon_online
sleep 0.5
mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/alert/tank/a1/temp-low -C 1 -W 5 | contains SHLVD && fail "an expired command acted"

# Switched off.
echo 'commands = { shelve = false; };' >>"$conf"
kill -HUP "$daemon"
wait_for 10 eval 'ask shelve "{\"id\":\"tank/a1/temp-low\",\"minutes\":10}" | contains "switched off in the configuration"' || fail "not off"
answers ack '{"id":"tank/a1/temp-low","who":"Ann"}' '"ok":true'
stop_daemon
