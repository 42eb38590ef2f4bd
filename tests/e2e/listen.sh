#!/bin/bash
# What `lentic listen` proposes after hearing probes of many makes is taken by `lentic check`, and the daemon reads with it.
. "$(dirname "$0")/lib.sh"
start_broker
pub() { mosquitto_pub -h 127.0.0.1 -p "$port" "$@"; }

# One round of everything; $1 makes the numbers differ.
speak() {
    local n=$1
    for tank in a1 a2 b1; do
        pub -t probes/$tank/temp -m 24.${n}6
        pub -t probes/$tank/ph -m 6.8$n
        pub -t "rack/$tank/state" -m "{\"t\":\"$(date -u +%FT%TZ)\",\"water\":{\"temperature\":75.$n,\"ec\":0.39$n,\"battery\":87},\"rssi\":-60}"
    done
    pub -t probes/room/temp -m 21.$n
    for serial in 28ff01 28ff02; do
        pub -t gate/out -m "{\"serial\":\"$serial\",\"temp\":23.$n,\"unit\":\"C\"}"
    done
    pub -t gate/list -m "[{\"id\":\"a1\",\"ph\":6.7$n},{\"id\":\"b1\",\"ph\":7.2$n}]"
    pub -t homie/5/shelf/tank-a3/conductivity -m 31$n
    pub -t homie/5/shelf/tank-a3/aim -m 24
    pub -t misc/counter -m 1234$n
    pub -t misc/x7 -m 23.4$n
    pub -t misc/text -m hello
}
pub -r -t 'homie/5/shelf/$description' -m '{"homie":"5.0","nodes":{"tank-a3":{"properties":{"conductivity":{"name":"Salts","datatype":"float","unit":"µS/cm"},"aim":{"datatype":"float","unit":"°C","name":"temperature","settable":true}}}}}'
pub -r -t old/a9/temp -m 22.5

"$lentic" listen "127.0.0.1:$port" --for 6s >"$work/proposed" 2>"$work/said" &
listener=$!
listeners+=($listener)
sleep 0.5
for n in 1 2 3 4 5; do
    speak $n
    sleep 0.6
done
status=0
wait $listener || status=$?
[ $status -eq 0 ] || fail "listen ended with $status: $(cat "$work/said")"
cat "$work/proposed" >"$work/heard"

has() { grep -qF -- "$1" "$work/proposed" || fail "not proposed: $1"; }
live() { grep -v '^ *#' "$work/proposed"; }
has '{ topic = "probes/{tank}/temp"; '
has '{ topic = "probes/{tank}/ph"; '
has '{ topic = "rack/{tank}/state"; time = "/t"; '
has '{ at = "/water/temperature"; measures = "temp"; unit = "[degF]"; }'
has '{ at = "/water/ec"; measures = "ec"; unit = "mS/cm"; }'
has '{ topic = "probes/room/temp"; place = "room"; '
has 'topic = "homie/5/shelf/{tank}/conductivity"'
live | contains 'gate/out' && fail "devices whose place nobody knows are proposed as they stand"
has '# { topic = "gate/out"; match = { at = "/serial"; is = "28ff01"; }; place = "tank/?"; '
live | contains -E 'battery|rssi|misc|aim|old/' && fail "no water, doubtful or a wish, and proposed all the same"
has 'a wish, not a measurement'
has 'nothing live'
has 'only the range looks like temperature'
has 'misc/text'

# Pasted into a configuration that has the tanks, it is taken, and it works.
cat >"$conf" <<CONF
site = { id = "millrace"; name = "Millrace"; };
broker = { host = "127.0.0.1"; port = $port; };
store = { path = "$work/lentic.db"; runtime_dir = "$work/run"; commit_s = 1; };
tanks = ( { id = "a1"; volume_l = 30.0; }, { id = "a2"; volume_l = 30.0; }, { id = "b1"; volume_l = 30.0; },
          { id = "tank-a3"; volume_l = 30.0; } );
CONF
cat "$work/proposed" >>"$conf"
"$lentic" check "$conf" >"$work/said" 2>&1 || fail "check refuses what listen proposed: $(cat "$work/said")"
start_daemon_online
speak 6
rows() { "$lentic" export --conf "$conf" | grep -cE 'tank/b1,(temp|ec|ph),|tank-a3,ec,|room,temp,'; }
all_there() { [ "$(rows)" -ge 6 ]; }
wait_for 10 all_there || fail "the daemon reads $(rows) of 6 streams"
stop_daemon

# What the daemon itself publishes is no probe, also when nobody says which one it is, or it has ended.
heard_by() { # NAME OPTION...
    local name=$1
    shift
    "$lentic" listen "127.0.0.1:$port" --for 3s "$@" >"$work/$name" 2>/dev/null &
    listener=$!
    listeners+=($listener)
    sleep 1
    speak 7
    wait $listener || fail "$name: nothing to paste: $(cat "$work/$name")"
    grep -vE '^ *#' "$work/$name" | contains -E 'lentic/|millrace|/value|derived' && fail "$name: our own voice: $(grep -E 'lentic/|millrace' "$work/$name")"
    grep -q "Left out as Lentic's own voice" "$work/$name" || fail "$name: left out without a word"
    grep -q 'topic = "probes/{tank}/temp"' "$work/$name" || fail "$name: the probes: $(cat "$work/$name")"
}
start_daemon_online
sleep 6
heard_by beside
heard_by beside_named --conf "$conf"
stop_daemon
heard_by after
# With the tanks known the probes of a list find their place by name, and the daemon takes the entries as they stand.
grep -q '^  { topic = "gate/list"; each = ""; match = { at = "/id"; is = "b1"; }; place = "tank/b1";' "$work/beside_named" ||
    fail "the list: $(grep gate/list "$work/beside_named")"
sed '/^probes = (/,$d' "$conf" >"$work/listed.conf"
cat "$work/beside_named" >>"$work/listed.conf"
"$lentic" check "$work/listed.conf" >"$work/said" 2>&1 || fail "check refuses a list: $(cat "$work/said")"

# With the tanks known the gateway's devices find their place by name; without anything heard the answer is no.
status=0
"$lentic" listen "127.0.0.1:$port" --topic 'nothing/#' --for 1s >/dev/null 2>"$work/said" || status=$?
[ $status -eq 1 ] && grep -q 'nothing was heard' "$work/said" || fail "silence: $status $(cat "$work/said")"
status=0
"$lentic" listen 127.0.0.1:1 --for 1s >/dev/null 2>"$work/said" || status=$?
[ $status -eq 3 ] && grep -q 'no connection' "$work/said" || fail "no broker: $status $(cat "$work/said")"
