#!/bin/bash
# Commands as nobody should send them: cut off, binary, too long, too deep, twice, answered to where they must not be. Each
# is answered in a sentence with its own correlation data, none acts, and the next sound one does.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
hear heard "$base/#" 'homie/5/+/$log/#'
mosquitto_sub -h 127.0.0.1 -p "$port" -V 5 -q 1 -t 'replies/#' -t 'ready/replies' -F '%t %D %p' </dev/null >"$work/replies" 2>/dev/null &
listeners+=($!)
until grep -q '^ready' "$work/replies"; do
    pub ready/replies 1
    sleep 0.1
done
# ask COMMAND FILE CORRELATION [RESPONSE TOPIC]
ask() {
    mosquitto_pub -h 127.0.0.1 -p "$port" -V 5 -q 1 -t "$base/do/$1" -f "$2" -D publish response-topic "${4:-replies/mine}" \
        -D publish correlation-data "$3"
}
python3 - "$work" <<'PY'
import sys
cases = [b'{"tank":"a1","what":', b"[]", b'"feeding"', b"17", b"nonsense", b'{"\xff\xfe":1}', bytes(range(256)), b"\0\0\0\0",
         b'{"tank":"a1\\u0000","what":"feeding"}', b'{"tank":"a1","tank":"a2","what":"feeding"}', b'{"tank":"a1","what":"feeding","x":' + b"[" * 40 + b"]" * 40 + b"}",
         b'{"a":' * 5000 + b"1" + b"}" * 5000, b'{"tank":"a1","what":"feeding","why":"' + b"x" * 17000 + b'"}', b'{"tank":"a1","what":"feeding"}' + b" " * 200000,
         b'{"tank":"a1","what":"change","litres":1e999}', b'{"tank":"a1","what":"change","litres":-3}', b'{"tank":"a1","what":"change","litres":"three"}',
         b'{"tank":"a9","what":"feeding"}', b'{"tank":"a1","what":"dancing"}', b'{"tank":"a1","what":"feeding","at":"2126-01-01T00:00:00Z"}', b"{}", b'{"tank":null}']
for i, c in enumerate(cases):
    open(f"{sys.argv[1]}/case{i}", "wb").write(c)
open(f"{sys.argv[1]}/count", "w").write(str(len(cases)))
PY
count=$(cat "$work/count")
for i in $(seq 0 $((count - 1))); do ask note "$work/case$i" "c-$i"; done
answered() { [ "$(grep -c '^replies/mine c-' "$work/replies")" -ge "$count" ]; }
wait_for 15 answered || fail "$(grep -c '^replies' "$work/replies") answers to $count requests"
python3 - "$work/replies" "$count" <<'PY' || fail "answers"
import json, sys
seen = {}
for line in open(sys.argv[1], encoding="utf-8"):
    if line.startswith("replies/mine c-"):
        _, correlation, payload = line.rstrip("\n").split(" ", 2)
        seen.setdefault(correlation, []).append(json.loads(payload))
bad = [(c, a) for c, a in seen.items() if len(a) != 1 or a[0]["ok"] or len(a[0]["text"]) < 10]
missing = [i for i in range(int(sys.argv[2])) if f"c-{i}" not in seen]
print(*bad, *missing, sep="\n")
sys.exit(bool(bad or missing))
PY
heard heard "^$base/event .*note" && fail "something was written down: $(grep "^$base/event .*note" "$work/heard")"

# A sound one, delivered twice, is written once and answered twice; without a name it says so.
echo '{"tank":"a1","what":"change","litres":4}' >"$work/sound"
ask note "$work/sound" twice
ask note "$work/sound" twice
twice() { [ "$(grep -c '^replies/mine twice {.*"ok":true' "$work/replies")" -eq 2 ]; }
wait_for 10 twice || fail "$(grep twice "$work/replies")"
must_hear heard "^$base/event .*\"litres\":4"
sleep 0.3
[ "$(heard_times heard "^$base/event .*\"litres\":4")" -eq 1 ] || fail "written down twice"

# The answer is not sent to where the service itself speaks or listens.
for topic in "$base/status" "$base/do/test" homie/5/millrace-tank-a1/service/window/set probes/a1/temp; do
    before=$(heard_times heard "^$base/done .*\"command\":\"ack\"")
    echo '{}' >"$work/empty"
    ask ack "$work/empty" astray "$topic"
    wait_for 5 eval "[ \"\$(heard_times heard '^$base/done .*\"command\":\"ack\"')\" -eq $((before + 1)) ]" || fail "no answer for $topic"
done
sleep 0.3
heard heard "^$base/status . .*\"ok\":" && fail "it wrote into its own status"
heard heard '/.log/warn ' && fail "it set its own service window: $(grep log/warn "$work/heard")"
online || fail "the status that stands"

# MQTT 3.1.1; who asked is kept with it, here and for what a home-automation system sets.
pub probes/a1/temp 18.0
must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK"
pub $base/do/ack '{"tank":"a1","kind":"temp-low","who":"Ann"}' -V 311
must_hear heard "^$base/done 0 .*\"ok\":true,\"command\":\"ack\",\"place\":\"tank/a1\""
must_hear heard "^$base/event .*ack tank/a1/temp-low, by Ann"
pub homie/5/millrace-tank-a1/alerts/shelve/set 15
must_hear heard "^$base/event .*shelve.*by homie"
pub $base/do/unshelve '{"tank":"a1","kind":"temp-low"}' -V 311
must_hear heard "^$base/event .*unshelve.*by somebody who gave no name"
stop_daemon
