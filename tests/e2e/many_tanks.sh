#!/bin/bash
# Sixty tanks: documents, Homie tree and announcements are whole after the start, after a broker that forgot everything and
# one that forgot nothing, and after a reload that the broker slept through. Nothing is raised twice by it.
. "$(dirname "$0")/lib.sh"
python3 -c 'import jsonschema' 2>/dev/null || exit 77
here=$(dirname "$0")
root=homie/5/millrace

# configure FIRST LAST: tanks tFIRST to tLAST
configure() {
    local i
    cp "$here/../../conf/announcements.conf" "$work/"
    {
        cat <<CONF
site = { id = "millrace"; name = "Millrace"; };
broker = { host = "127.0.0.1"; port = $port; };
store = { path = "$work/lentic.db"; runtime_dir = "$work/run"; commit_s = 1; };
publish = { tank_every_s = 2; tank_least_s = 0.2; heartbeat_s = 5; };
sources = ( { id = "tap"; } );
alerts = ( { kind = "temp-low"; on_delay_s = 0; off_delay_s = 0; } );
tanks = (
CONF
        for i in $(seq "$1" "$2"); do
            echo "  { id = \"t$i\"; name = \"Tank $i „Größe“\"; volume_l = 30.0; temp = [20.0, 24.0]; rack = \"r$((i % 6))\"; }$([ "$i" -eq "$2" ] || echo ,)"
        done
        cat <<'CONF'
);
probes = ( { topic = "probes/{tank}/temp"; measures = "temp"; unit = "Cel"; quality = { spike_suspect = "off"; spike_fail = "off"; }; } );
@include "announcements.conf"
CONF
    } >"$conf.new"
    mv "$conf.new" "$conf"
    "$lentic" check "$conf" >"$work/said" || fail "$(cat "$work/said")"
}

# kept NAME: what a subscriber sees who comes now
kept() {
    hear "$1" "$base/#" 'homie/#' 'lantern/#'
    sleep 0.5
    kill "${listeners[-1]}"
    grep -E '^[^ ]+ 1 ' "$work/$1" >"$work/$1.kept" || true
}
count() { grep -cE -- "$2" "$work/$1.kept" || true; }

# whole NAME FIRST LAST: all of these tanks, and no other
whole() {
    local n=$(($3 - $2 + 1)) tries
    for tries in 1 2 3 4 5 6 7 8; do
        rm -f "$work/$1"
        kept "$1"
        if [ "$(count "$1" "^$base/tank/t[0-9]+ ")" -eq $n ] && [ "$(count "$1" "^$root-tank-t[0-9]+/.state 1 ready")" -eq $n ] &&
            [ "$(count "$1" '^lantern/things/millrace-t[0-9]+-temp/about ')" -eq $n ] && grep -q "^$root/.state 1 ready" "$work/$1.kept"; then
            break
        fi
        sleep 1
    done
    [ "$tries" -lt 8 ] || fail "$1: $(count "$1" "^$base/tank/t") documents, $(count "$1" "^$root-tank-t.*/.state 1 ready") devices, $(count "$1" '^lantern/things/') things"
    for gone in "$base/tank/" "$root-tank-" "lantern/things/millrace-"; do
        [ "$(grep -oE "^${gone}t[0-9]+" "$work/$1.kept" | sort -u | wc -l)" -eq $n ] || fail "$1: something of another tank is left below $gone"
    done
    grep '^homie/' "$work/$1.kept" >"$work/$1.homie"
    python3 "$here/homie_check.py" tree "$work/$1.homie" || fail "$1: the Homie tree"
    [ "$(count "$1" "^$base/alert/tank/t7/temp-low .*UNACK")" -eq 1 ] || fail "$1: the alert"
    mosquitto_sub -h 127.0.0.1 -p "$port" -t "$base/#" --retained-only -F %j -W 2 >"$work/$1.live" 2>/dev/null || true
    python3 "$here/schema_check.py" --some "$here/../../conf/schema" $base "$work/$1.live" || fail "$1: not as the schemas say"
}
events=0
watch_events() {
    events=$((events + 1))
    hear "events$events" "$base/event"
}
raised() { cat "$work"/events* | grep -cE "\"raise\".*temp-low" || true; }

persist=yes
start_broker
configure 1 60
watch_events
start_daemon_online
for i in $(seq 1 60); do pub "probes/t$i/temp" "2$((i % 3)).5"; done
pub probes/t7/temp 18.5
must_hear events1 "\"raise\""
wait_for 30 eval "mosquitto_sub -h 127.0.0.1 -p $port -t $root-tank-t60/temp/value -C 1 -W 1 | contains 2"
whole first 1 60
before=$(raised)

# The broker remembers; the daemon's configuration changes while it is away.
stop_broker
configure 3 62
kill -HUP "$daemon"
sleep 1
start_broker
watch_events
whole remembered 3 62

# The broker forgets.
stop_broker
rm -f "$work/mosquitto.db"
persist=''
start_broker
watch_events
whole forgot 3 62

# It is killed, and later the daemon is.
kill -KILL "$broker"
wait "$broker" || true
start_broker
watch_events
whole crashed 3 62
kill_daemon
configure 6 62
start_daemon_online
whole restarted 6 62
[ "$before" -eq 1 ] && [ "$(raised)" -eq 1 ] || fail "raised $before times at first, $(raised) in all"
stop_daemon
