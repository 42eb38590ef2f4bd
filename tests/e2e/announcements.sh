#!/bin/bash
# A hub of its own form is told about tanks, quantities and alerts; told anew on every connection; what goes is withdrawn.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf '@include "announcements.conf"'
cp "$(dirname "$0")/../../conf/announcements.conf" "$work/"
sed -i 's/name = "Crystals"/name = "Crystals \\"B\\" \\\\ 2"/' "$conf"
"$lentic" check "$conf" >"$work/said" || fail "$(cat "$work/said")"
thing() { mosquitto_sub -h 127.0.0.1 -p "$port" -t "lantern/things/$1/about" -C 1 -W 2 2>/dev/null; }
gone() { ! thing "$1"; }
start_daemon_online
wait_for 10 thing millrace-a1-ec || fail "not announced"
thing millrace-a1-temp >"$work/a1"
python3 - "$work/a1" <<'PY' || fail "$(cat "$work/a1")"
import json, sys
d = json.load(open(sys.argv[1]))
assert d["label"] == 'Crystals "B" \\ 2: temperature', d
assert d["green"] == [20.0, 24.0] and d["unit"] == "°C" and d["digits"] == 2, d
assert d["listen"]["topic"] == "lentic/millrace/tank/a1", d
PY
thing millrace-a2-ec | contains '"green": \[null, null\]' || fail "open limits"
mosquitto_sub -h 127.0.0.1 -p "$port" -t lantern/lamps/millrace-tank-a1-temp-low/about -C 1 -W 2 | contains '"lit_while": "lentic/millrace/alert/tank/a1/temp-low"' ||
    fail "no lamp"

# A tank goes, another comes; then all go.
sed -i 's/{ id = "a2"[^}]*}/{ id = "a3"; volume_l = 20.0; }/' "$conf"
kill -HUP "$daemon"
wait_for 10 thing millrace-a3-temp || fail "the new tank was not announced"
wait_for 10 gone millrace-a2-temp || fail "the old tank is still announced"
thing millrace-a1-temp >/dev/null || fail "a1 has gone"

# The broker forgets; everything is told again.
stop_broker
start_broker
wait_for 30 thing millrace-a3-ec || fail "not told again"

# What another start no longer has is withdrawn.
stop_daemon
sed -i '/@include/d' "$conf"
start_daemon_online
wait_for 10 gone millrace-a3-ec || fail "left over after another start"
mosquitto_sub -h 127.0.0.1 -p "$port" -t 'lantern/#' -W 1 -v >"$work/left" 2>/dev/null || true
[ ! -s "$work/left" ] || fail "left over: $(head -3 "$work/left")"

# Faults are told with their line and the nearest name; a reload with one keeps what stands.
faulty() {
    cp "$conf" "$work/faulty.conf"
    echo "announcements = ( { $1 } );" >>"$work/faulty.conf"
    "$lentic" check "$work/faulty.conf" >"$work/said" && fail "taken: $1"
    grep -qF -- "$2" "$work/said" || fail "$1: $(cat "$work/said")"
}
faulty 'topic = "x/${tank.id}"; payload = "${tank.nam}";' 'did you mean ${tank.name}?'
faulty 'topic = "x/${tank.name}"; payload = "y";' '${tank.name} is not known there'
faulty 'topic = "x/${alert.key}"; payload = "y";' '${alert.key} is not known there'
faulty 'topic = "x/${tank.id"; payload = "y";' 'has no } behind it'
faulty 'topic = "x"; payload = "y";' 'x is announced twice'
faulty 'topic = "x/${tank.id}"; payload = "{\"a\": ${tank.name}}";' 'it is no JSON'
faulty 'topic = "x/#"; payload = "y";' 'without + and #'
faulty 'topic = "x/${tank.id}"; payload = "y"; for = "tanks";' 'did you mean "tank"?'
stop_daemon
