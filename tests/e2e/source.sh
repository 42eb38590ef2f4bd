#!/bin/bash
# Source water over MQTT and the command line: the supplier's analysis as a hand test, what a unit holds back, a blend
# with its minerals taken off, chlorine told wherever tap water goes in, water that stands mixed counted.
. "$(dirname "$0")/lib.sh"
export COLUMNS=220
start_broker
write_conf 'sources = ( { id = "ro"; name = "purified water"; makes_l_day = 30.0; store_l = 30.0; feed = "tap"; },
    { id = "tap"; name = "tap water"; kind = "tap"; disinfectant = "chloramine"; } );
salts = ( { id = "mix"; name = "ready mix"; gh = 40.0; kh = 0.0; ec = 2000.0; tds = 900.0; stock_g = 90.0; },
    { id = "soda"; name = "soda"; gh = 0.0; kh = 40.0; ec = 0.0; tds = 700.0; stock_g = 90.0; } );
waters = ( { id = "middling"; name = "middling water"; source = "ro"; blend = { source = "tap"; share = 0.25; };
    ec = 400.0; gh = 8.0; kh = 4.0; drift = { ec = 40.0; };
    recipe = ( { salt = "mix"; g_per_l = 0.2; }, { salt = "soda"; g_per_l = 0.1; } ); } );
stores = ( { id = "drum"; name = "drum"; water = "middling"; holds_l = 60.0; l_per_mm = 0.1; } );' \
    'water = "middling"; change_l_week = 6.0; topoff = 0.5;' ',
  { topic = "probes/{store}/level"; measures = "level"; unit = "mm"; },
  { topic = "probes/{source}/ec"; measures = "ec"; }'
"$lentic" check "$conf" >/dev/null || fail "the configuration of this test: $("$lentic" check "$conf" 2>&1)"
start_daemon_online
hear heard "$base/#"
# say CODE PATTERN VERB ARGS...
say() {
    local code=0 want=$1 pattern=$2 verb=$3
    shift 3
    "$lentic" "$verb" --conf "$conf" "$@" >"$work/said" 2>&1 || code=$?
    [ $code -eq "$want" ] || fail "$verb $* ended with $code: $(cat "$work/said")"
    grep -qE -- "$pattern" "$work/said" || fail "$verb $* said: $(cat "$work/said")"
}
# Nothing is known of the tap: said, with what to do; not guessed.
say 1 'what tap holds is not known: lentic note source/tap test gh=' mix middling
say 1 'cannot be weighed: what tap holds is not known' plan
say 1 'ec of ro is not known: lentic note source/ro test ec=' blend --a ro --b tap --water middling
# The supplier's analysis, eight months old.
say 0 'test gh 8' note --who Ada source/tap test gh=8 kh=4 ec=500 no3=20 --at "$(date -d '-240 days' +%F)" "supplier's analysis"
say 0 'test ec 10' note --who Ada source/ro test ec=10
must_hear heard "^$base/source/ro .*\"rejection\":0.98" 20
must_hear heard "^$base/source/tap .*chloramine" 20
say 0 'take 30.0 L from ro and 10.0 L from tap' mix middling --litres 40
grep -q 'that brings GH 2.0 and KH 1.0 along' "$work/said" || fail "$(cat "$work/said")"
grep -q 'weigh 6.00 g of ready mix' "$work/said" || fail "$(cat "$work/said")" # 8.00 g from purified water
grep -q 'weigh 3.00 g of soda' "$work/said" || fail "$(cat "$work/said")"
grep -q 'CAUTION, tap: it carries chloramine' "$work/said" || fail "$(cat "$work/said")"
say 0 'weigh 8.00 g of ready mix' mix middling --litres 40 --source-gh 0
say 0 '"caution":"tap: it carries' mix middling --json
say 0 '30.00 L of ro \(10 µS/cm\) and 10.00 L of tap \(500 µS/cm\)' blend --a ro --b tap --to 132.5 --litres 40
grep -q 'CAUTION, tap' "$work/said" || fail "$(cat "$work/said")"
say 2 'no source "tpa"' blend --a ro --b tpa --to 100
say 1 'nearest' blend --a ro --b tap --quantity ec --to 900
say 0 'CAUTION, tap: it carries chloramine' change a1 --now 500
say 0 'source ro: 10.0 µS/cm; holds back 98.0 % of 500 µS/cm' now --once
say 0 'weigh 0.90 g of ready mix and 0.45 g of soda' plan
grep -qE 'a1: tap: it carries chloramine' "$work/said" || fail "no caution in the plan: $(cat "$work/said")"
grep -qE 'tap: gh 8 °dH is 24[01] days old, of another season: test it again' "$work/said" || fail "$(cat "$work/said")"
grep -qE 'reckoned with a feed of 500 µS/cm that is 24[01] days old' "$work/said" || fail "$(cat "$work/said")"
say 0 'NO3  5.00 mg/L, what the water it is made from brings along' plan --why a1
say 0 'holds back 1 - 10.00 / 500 = 98.0 %' plan --why ro
say 0 'made of 4.5 L from ro and 1.5 L from tap, which bring GH 2.00 and KH 1.00 and EC 13[23]: taken off the grams' plan --why middling
# The drum holds 4 L: 2 L are left to mix. A batch that is measured right stands in for a drum without a probe.
pub probes/drum/level 40
sleep 1
kill -HUP "$daemon"
must_hear heard '"probes/drum/level".*"value":40'
say 0 '6.0 L of middling water for 1 tank; 4.0 L stand mixed in drum: take 1.5 L from ro and 0.5 L from tap' plan
# Four tests in a month: the trend, and when it ends.
for i in 30 20 10; do say 0 noted note --who Ada source/ro test "ec=$((14 - i / 5))" --at "$(date -d "-$i days" +%F)"; done
say 0 'days of hand tests' plan --why ro
must_hear heard "^$base/source/ro .*\"trend_from\":\"hand\"" 20
say 0 'source ro: 10.0 µS/cm; .*(rises by|steady)' now --once
say 0 noted note --who Ada source/ro test ec=41
say 0 'ro: 41 µS/cm are beyond 30' plan
must_hear heard "^$base/source/ro .*\"wear\":\"exhausted\"" 20
say 0 'WORN OUT' now --once
# What is withdrawn counts no longer; the retained documents go with their source.
say 0 'no longer counts' note --withdraw "$("$lentic" note --conf "$conf" --list source/ro --json | python3 -c '
import json, sys
print(max(e["id"] for e in json.load(sys.stdin)))')" --why "wrong cup"
must_hear heard "^$base/source/ro .*\"ec\":\{\"value\":10" 20
stop_daemon
stop_broker
