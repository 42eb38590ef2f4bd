#!/bin/bash
# Probes are calibrated at a terminal and by command, backwards over what is stored, taken back step by step, and
# exchanged; lentic probes shows it.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || exit 77
start_broker
write_conf "" "" ', { topic = "ph/{tank}"; tanks = ["a1"]; measures = "ph"; millivolts = true; unit = "mV"; },
  { topic = "box/{tank}"; tanks = ["a2"]; device_at = "/id"; battery = { at = "/bat"; }; link = { at = "/rssi"; };
    values = ( { at = "/ph"; measures = "ph"; } ); },
  { topic = "any/{tank}"; tanks = ["a2"]; values = ( { at = "/v"; measures = "orp"; unit_at = "/u"; unit_per_message = true; } ); }'
start_daemon_online
hear heard "$base/event"

# For the one who waits until a probe has come to rest, time goes four times as fast, where that can be had.
hurried=()
if command -v gcc >/dev/null && ! sanitized; then
    make_time
    set_time 0 4
    hurried=(env "TIME_FILE=$work/time" "LD_PRELOAD=$work/time.so")
fi
calibrate() { "${hurried[@]}" "$lentic" calibrate --conf "$conf" --who Ann "$@"; }

# What the three probes of a1 show now, once a second, until the test ends.
echo 171.5 >"$work/mv"
echo 1380 >"$work/ec"
echo 24.31 >"$work/temp"
# Each message is its own process: whatever is ended here leaves nothing behind.
send() { while sleep 1 && [ -s "$work/$2" ]; do pub "$1" "$(printf "$3" "$(cat "$work/$2")")" 2>/dev/null || true; done; }
send ph/a1 mv '%s' &
listeners+=($!)
send docs/a1 ec '{"ec":%s}' &
listeners+=($!)
send probes/a1/temp temp '%s' &
listeners+=($!)

# Stored two hours ago, as sent; one more after the calibration that will be told backwards.
old=$(($(now_ms) - 7200000))
pub docs/a2 "{\"t\":$old,\"ec\":200}"
pub docs/a2 "{\"t\":$((old + 60000)),\"ec\":210}"
wait_for 10 stored tank/a2 ec 2 || fail "the old readings were not stored"
calibrate tank/a2 ec --gain 1.1 --from "$(date -u -d @$((old / 1000 + 30)) +%FT%TZ)" >"$work/back" 2>&1 || fail "backwards: $(cat "$work/back")"
grep -q 'value = 1.1000 x raw' "$work/back" || fail "backwards: $(cat "$work/back")"
query() { python3 -c 'import sqlite3,sys; print(*[c for r in sqlite3.connect("file:"+sys.argv[1]+"?mode=ro",uri=True).execute(sys.argv[2]) for c in r])' "$work/lentic.db" "$1"; }
sql="SELECT as_sent, round(value, 6) FROM readings WHERE place='tank/a2' AND quantity='ec' ORDER BY time"
[ "$(query "$sql")" = "200.0 200.0 210.0 231.0" ] || fail "reckoned anew: $(query "$sql")"
calibrate tank/a2 ec --gain 1.2 --from 2026-03-01T12:00:00 >"$work/said" 2>&1 && fail "a time without a zone was taken"
calibrate tank/a2 orp --gain 1.2 --from "$(date -u +%FT%TZ)" >"$work/said" 2>&1 && fail "backwards without the unit"
grep -q 'cannot be calibrated backwards' "$work/said" || fail "unit in each message: $(cat "$work/said")"

# Standard and reference by scripts without a terminal, the electrode at a terminal: two buffers.
calibrate "docs/a1#/ec" --is 1413 >"$work/ec.said" 2>"$work/ec.walk" &
ec=$!
calibrate tank/a1 temp --is 24.0 >"$work/temp.said" 2>"$work/temp.walk" &
temp=$!
cat >"$work/keeper.py" <<'PY'
import os, pty, sys
work, answered = sys.argv[1], 0
def read(fd):
    global answered
    data = os.read(fd, 4096)
    if b"press Enter" in data:
        answered += 1
        open(work + "/mv", "w").write("171.5" if answered == 1 else "1.5")
        os.write(fd, b"\n")
    return data
sys.exit(os.waitstatus_to_exitcode(pty.spawn(sys.argv[2:], read, lambda fd: b"")))
PY
python3 "$work/keeper.py" "$work" "${hurried[@]}" "$lentic" calibrate --conf "$conf" --who Ann tank/a1 ph --is 4.01 --is 6.86 --temp 25 \
    </dev/null >"$work/ph.said" 2>&1 || fail "at the terminal: $(tail -5 "$work/ph.said")"
grep -q 'buffer pH 4.01' "$work/ph.said" || fail "no word of the first buffer"
grep -qE 'readings span .* \(rest: 6 readings, 20 s' "$work/ph.said" || fail "how rest is decided is not told"
grep -qE 'slope 10[0-9.]+ %, offset .* mV at pH 7.*the electrode is good' "$work/ph.said" || fail "electrode: $(tail -3 "$work/ph.said")"
wait $ec || fail "standard: $(tail -3 "$work/ec.walk")"
grep -q 'the cell constant is 102.4 % of the named one, good' "$work/ec.said" || fail "standard: $(cat "$work/ec.said")"
wait $temp || fail "reference: $(tail -3 "$work/temp.walk")"
grep -q 'value = 1.0000 x raw - 0.310' "$work/temp.said" || fail "reference: $(cat "$work/temp.said")"

# A probe that does not come to rest changes nothing.
calibrate tank/a2 temp --is 24.0 --patience 1 >"$work/said" 2>&1 && fail "a silent probe was calibrated"
grep -q 'did not come to rest within 1 s; nothing was changed' "$work/said" || fail "no rest: $(cat "$work/said")"

# By command, two steps back, and no further; the history keeps what was taken back.
calibrate "docs/a1#/ec" --gain 1.05 >/dev/null 2>&1 || fail "gain as given"
calibrate "docs/a1#/ec" --undo >"$work/said" 2>&1 || fail "undo: $(cat "$work/said")"
grep -qE 'no longer counts; that of 20.*Z counts again' "$work/said" || fail "undo: $(cat "$work/said")"
calibrate "docs/a1#/ec" --undo >"$work/said" 2>&1 || fail "second undo: $(cat "$work/said")"
grep -q 'the configured one counts again' "$work/said" || fail "second undo: $(cat "$work/said")"
calibrate "docs/a1#/ec" --undo >"$work/said" 2>&1 && fail "a third undo"
grep -q 'no calibration to take back' "$work/said" || fail "third undo: $(cat "$work/said")"
[ "$("$lentic" calibrate --conf "$conf" "docs/a1#/ec" --list | grep -c 'taken back')" -eq 2 ] || fail "the history lost something"

# Exchanged: noticed by its id, told by the keeper; the restart forgets neither.
pub box/a2 '{"ph":7.0,"id":"one","bat":80,"rssi":-70}'
for _ in 1 2 3; do pub box/a2 '{"ph":7.1,"id":"two","bat":12,"rssi":-81}'; sleep 0.1; done
must_hear heard 'device two instead of one since .*seen in the payload'
"$lentic" probes --conf "$conf" --exchange tank/a1/ph --device 'stick 9' --who Ann >"$work/said" 2>&1 || fail "exchange: $(cat "$work/said")"
grep -q 'device stick 9 counts since .*calibrate it' "$work/said" || fail "exchange: $(cat "$work/said")"
"$lentic" probes --conf "$conf" --exchange tank/a1/no --device x >"$work/said" 2>&1 && fail "an unknown place"
stop_daemon
start_daemon_online
shown() { "$lentic" probes --conf "$conf" >"$work/probes" 2>&1 || true; grep -qE -- "$1" "$work/probes"; }
wait_for 15 shown 'two .*new since .*not calibrated.*battery 12 %, LOW .*link -81 dBm' || fail "probes: $(cat "$work/probes")"
wait_for 15 shown 'tank/a1 +ph .*stick 9' || fail "probes: $(cat "$work/probes")"
[ "$(query "SELECT DISTINCT device FROM readings WHERE place='tank/a2' AND quantity='ph' ORDER BY device")" = "one two" ] ||
    fail "the store does not keep which device"
stop_daemon
