#!/bin/bash
# The Homie tree from nothing to the kill, held against the convention as a fresh subscriber and a live one see it.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || exit 77
check=$(dirname "$0")/homie_check.py
root=homie/5/millrace
a1=$root-tank-a1

# fresh NAME COMMAND...: what a subscriber sees who comes now; again while the command does not like it, for setting up
# a device takes its time.
fresh() {
    local name=$1 _
    shift
    for _ in 1 2 3 4 5 6; do
        rm -f "$work/tree$name"
        hear "tree$name" 'homie/#'
        sleep 0.3
        kill "${listeners[-1]}"
        grep '^homie/' "$work/tree$name" >"$work/tree" || true
        "$@" >"$work/verdict" && return
    done
    cat "$work/verdict"
    fail "$name: $*"
}
sound() { python3 "$check" tree "$work/tree"; }
has() { grep -qE -- "$1" "$work/tree"; }
has_not() { ! grep -qE -- "$1" "$work/tree"; }
lived() { python3 "$check" life "$work/live$1" || fail "the life of $1"; }
ready() { mosquitto_sub -h 127.0.0.1 -p "$port" -t "$root/\$state" -C 1 -W 1 2>/dev/null | contains '^ready'; }
live() { hear "live$1" 'homie/#'; }

start_broker
write_conf 'sources = ( { id = "tap"; } );' 'circuit = "left";'
live 1
start_daemon
must_hear live1 "^$root/\\\$state 0 ready" 20
pub probes/a1/temp 22.5
pub docs/a1 "{\"t\":$(now_ms),\"ec\":250}"
must_hear live1 "^$a1/ec/value 0 250" 20
must_hear live1 "^$a1/temp/value 0 22.50"
fresh first sound
fresh first has "^$a1/temp/band-low 1 20.00"
fresh first has "^$root/\\\$description .*\"millrace-circuit-left\".*\"millrace-source-tap\"|\"millrace-source-tap\".*\"millrace-circuit-left\""

# Below the dead step nothing is said; beyond it value, quality and time are.
pub probes/a1/temp 22.51
pub probes/a1/temp 22.8
must_hear live1 "^$a1/temp/value 0 22.80"
heard live1 "^$a1/temp/value 0 22.51" && fail "told below the dead step"

# An alert, and what can be set.
pub probes/a1/temp 18.5
must_hear live1 "^$a1/\\\$alert/temp-low 0 temperature"
must_hear live1 "^$a1/alerts/level 0 high"
pub $a1/alerts/acknowledge/set true
must_hear live1 "^$a1/alerts/acknowledge/\\\$target 0 true"
must_hear live1 "^$a1/alerts/acknowledge 0 true"
pub $a1/alerts/shelve/set 045
must_hear live1 "^$a1/alerts/shelve/\\\$target 0 045"
must_hear live1 "^$a1/alerts/shelve 0 45"
must_hear live1 "^$a1/\\\$alert/temp-low 0 *$"
pub $a1/service/window/set 15
must_hear live1 "^$a1/service/window 0 15"
for wrong in 1e2 ' 5' 1441 -5 5.0 ''; do pub $a1/service/window/set "$wrong" 2>/dev/null || true; done
pub $a1/service/window/set 20 -r
must_hear live1 "^$a1/\\\$log/warn 0 .*retained"
pub $a1/service/window/set '' -r
pub $a1/temp/value/set 25
must_hear live1 "^$a1/\\\$log/warn 0 .*temp/value/set"
fresh refused has "^$a1/service/window 1 15"
# A neighbour whose name begins like ours is answered by the neighbour, and nobody who tidies up is warned.
pub homie/5/millrace-annex-tank-a1/alerts/shelve/set 5
pub $a1/service/window/set 15
must_hear live1 "^$a1/service/window/.target 0 15"
grep -E '\$log.*annex' "$work/live1" && fail "a neighbour's set was judged"
fresh refused has "^$a1/service/window/.target 1 15"
pub $a1/service/window/set 0
must_hear live1 "^$a1/service/window 0 0"
pub $a1/alerts/shelve/set 0
must_hear live1 "^$a1/alerts/shelve 0 0"

# Another configuration: a tank comes, a tank goes.
sed 's/{ id = "a2"[^}]*}/{ id = "a3"; name = "Reds"; volume_l = 20.0; }/' "$conf" >"$conf.new"
mv "$conf.new" "$conf"
kill -HUP "$daemon"
must_hear live1 "^$root-tank-a3/\\\$state 0 ready"
must_hear live1 "^$root-tank-a2/\\\$state 0 *$"
sleep 0.5
fresh reloaded sound
fresh reloaded has_not tank-a2
lived 1

# The broker loses everything and comes back.
stop_broker
start_broker
live 2
wait_for 30 ready || fail "not ready after the broker's restart"
fresh restarted sound
fresh restarted has "^$a1/temp/value 1 18.50"
lived 2

# Killed: the broker says so. Another start takes it up again.
live 3
kill_daemon
must_hear live3 "^$root/\\\$state 0 lost"
start_daemon
must_hear live3 "^$root/\\\$state 0 ready" 30
fresh again sound
lived 3

# Clean stop: the children, then the root.
stop_daemon
must_hear live3 "^$root/\\\$state 0 disconnected"
[ "$(grep 'disconnected$' "$work/live3" | tail -1 | cut -d' ' -f1)" = "$root/\$state" ] || fail "the root was not the last"
heard live3 "^$root/\\\$state 0 lost" && [ "$(heard_times live3 "^$root/.state 0 lost")" -eq 1 ] || fail "lost at a clean stop"

# Switched off: nothing is left.
sed -i 's/publish = {/publish = { homie = false;/' "$conf"
start_daemon_online
fresh off has_not '^homie/'
stop_daemon
