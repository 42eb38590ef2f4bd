#!/bin/bash
# The keeper's week over the command line and MQTT: from live values and the journal, with its sums; a note moves it at
# once; without service, broker or store it says what it could not see.
. "$(dirname "$0")/lib.sh"
export COLUMNS=220
start_broker
write_conf 'sources = ( { id = "ro"; name = "purified water"; makes_l_day = 10.0; store_l = 20.0; } );
salts = ( { id = "mix"; name = "ready mix"; gh = 40.0; kh = 0.0; ec = 2000.0; tds = 900.0; stock_g = 9.0; } );
waters = ( { id = "soft"; name = "soft water"; source = "ro"; ec = 200.0; gh = 4.0; kh = 0.0; drift = { ec = 20.0; };
    recipe = ( { salt = "mix"; g_per_l = 0.1; } ); } );' \
    'water = "soft"; change_l_week = 3.0; topoff = 0.5; reservoir_l = 5.0; step = { ec = 15.0; gh = 1.0; temp = 1.0; }; gh = [3.0, 6.0];' ',
  { topic = "probes/air"; place = "room"; measures = "temp"; unit = "Cel"; }'
"$lentic" check "$conf" >/dev/null || fail "the configuration of this test"
start_daemon_online
hear heard "$base/#"
must_hear heard "^$base/plan 1 .*\"litres\":3.00"
pub probes/a1/temp 22.5
pub probes/air 12.5
pub docs/a1 "{\"t\":$(now_ms),\"ec\":260}"
must_hear heard "^$base/tank/a1 .*\"ec\":\{\"value\":260.*\"plan\":.*\"off-target\""
kill -HUP "$daemon" # the report of the probes, and with it the room's temperature, comes at once
must_hear heard '"probes/air".*"value":12.5'
# plan CODE PATTERN ARGS...
plan() {
    local code=0 want=$1 pattern=$2
    shift 2
    "$lentic" plan --conf "$conf" "$@" >"$work/said" 2>&1 || code=$?
    [ $code -eq "$want" ] || fail "plan $* ended with $code: $(cat "$work/said")"
    grep -qE -- "$pattern" "$work/said" || fail "plan $* said: $(cat "$work/said")"
}
plan 0 'today  *a1  *7.5  soft  *-15 .*EC 260 µS/cm, above 220 µS/cm; held by the animals. limit of 15 µS/cm a step; bring the water to 18.5 °C first'
plan 0 'a2: no water is named for this tank'
plan 0 'assumed: no value of general hardness' --why a1
plan 0 'EC   260.0 \+ 25.0 % x \(200.0 - 260.0\) = 245.0, a step of -15.0 of 15' --why a1
plan 0 '7.50 L  a1, today' --why soft
plan 0 'there: 9.0 g' --why mix
plan 0 'a full container of 20 L, then 10 L a day' --why ro
plan 2 'did you mean "soft"' --why sof
plan 2 'days' --days 99
# All in one object, and the sums hold.
"$lentic" plan --conf "$conf" --json | python3 -c '
import json, sys
p = json.load(sys.stdin)
stages, room = p["tanks"]["a1"]["changes"], p["room"]
v = 260.0
for s in stages:
    new = v + s["litres"] / 30 * (200 - v)
    assert abs(new - s["after"]["ec"]) < 0.3 and abs(new - v) <= 15.1 and s["share"] <= 0.3, s
    assert abs(s["steps"]["temp"]) <= 1.001, s
    v = new
assert v < 220, v
assert abs(sum(s["litres"] for s in stages) - room["waters"][0]["litres"]) < 0.1
assert abs(room["salts"][0]["grams"] - room["waters"][0]["litres"] / 10) < 0.01
assert not p["trouble"], p["trouble"]' || fail "the sums of the plan"
# Notes count at once: the change keeps the next stage two days away, the batch is taken off the stock, the test is done.
"$lentic" note --conf "$conf" --who Ada a1 change 7.5L >/dev/null
"$lentic" note --conf "$conf" --who Ada a1 gh=5 >/dev/null
"$lentic" note --conf "$conf" --who Ada a1 topoff 5L >/dev/null
sleep 1.5
plan 0 'reservoir of 5 L lasts 10 days, filled today: empty'
grep -qE 'today  *a1  ' "$work/said" && fail "a stage on the day of a change: $(cat "$work/said")"
grep -qE 'general hardness \(gh\) in a1' "$work/said" && fail "a test that was made is due: $(cat "$work/said")"
must_hear heard "^$base/plan 1 .*\"first\":\"[^\"]*\",\"salts\"" 20
wait_for 20 bash -c "grep -E '^$base/plan 1' '$work/heard' | tail -1 | grep -vq '\"litres\":7.50'" || fail "the room's plan did not follow"
# Something runs short: no.
sed -i 's/stock_g = 9.0/stock_g = 0.5/' "$conf"
plan 1 'NOT ENOUGH for these days: buy now'
sed -i 's/store_l = 20.0/store_l = 1.0/; s/makes_l_day = 10.0/makes_l_day = 1.0/' "$conf"
plan 1 'SHORT of'
stop_daemon
plan 1 'a1'
stop_broker
plan 1 'the broker was not reached'
grep -q 'filled today' "$work/said" || fail "the journal is not read without a broker: $(cat "$work/said")"
rm -f "$work"/lentic.db*
plan 3 'nothing to plan with'
