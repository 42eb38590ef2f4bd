#!/bin/bash
# Everything that is published and printed is as the schemas in conf/schema say; what they forbid in a command is refused.
. "$(dirname "$0")/lib.sh"
python3 -c 'import jsonschema' 2>/dev/null || exit 77
here=$(dirname "$0")
schema=$here/../../conf/schema
start_broker
write_conf 'sources = ( { id = "ro"; feed = "tap"; }, { id = "tap"; kind = "tap"; } );
waters = ( { id = "soft"; ec = 250.0; kh = 2.0; source = "ro"; drift = { ec = 30.0; }; } );' 'water = "soft"; heater_w = 50.0;' ',
  { topic = "probes/{tank}/ph"; measures = "ph"; quality = { spike_suspect = "off"; spike_fail = "off"; }; }'
sed -i 's/publish = {/publish = { heartbeat_s = 5;/' "$conf"
hear heard "$base/#"
mosquitto_sub -h 127.0.0.1 -p "$port" -q 1 -t "$base/#" -F %j </dev/null >"$work/live" 2>/dev/null &
listeners+=($!)
start_daemon_online
pub probes/a1/temp 22.5
pub probes/a1/ph 6.5
pub docs/a1 "{\"t\":$(now_ms),\"ec\":250}"
pub probes/a1/temp nonsense
pub probes/a1/temp 18.5
must_hear heard "^$base/event .*\"raise\""
say() { pub "$base/do/$1" "$2"; }
say ack '{"id":"tank/a1/temp-low","who":"Ann"}'
say shelve '{"tank":"a1","kind":"temp-low","minutes":30,"who":"Ann","why":"new heater"}'
say unshelve '{"place":"tank/a1","kind":"temp-low"}'
say note '{"tank":"a1","what":"test","quantity":"tan","value":0.5,"who":"Ann"}'
say note '{"tank":"a1","what":"change","litres":3,"at":"2026-03-01T12:00:00Z","why":"weekly"}'
say note '{"place":"source/tap","what":"test","values":{"ec":560,"gh":14,"kh":9},"who":"Ann"}'
say note '{"place":"source/ro","what":"test","values":{"ec":9},"who":"Ann"}'
must_hear heard "^$base/source/ro .*holds back 98.4 %" 20
say service '{"tank":"a1","minutes":1}'
say service '{"tank":"a1","minutes":0}'
say calibrate '{"tank":"a1","quantity":"temp","points":[{"raw":18.5,"is":18.7}],"who":"Ann"}'
say calibrate '{"tank":"a1","quantity":"temp","undo":true}'
say test ''
must_hear heard "^$base/done .*\"command\":\"test\""
must_hear heard "^$base/heartbeat"
must_hear heard "^$base/status .*\"counters\""
stop_daemon
must_hear heard "^$base/status .*offline"
for case in 02-readings 03-heater-failure 09-rubbish 13-life; do
    folder=$here/../replay/$case
    "$lentic" replay --conf "$folder/site.conf" --emit all "$folder"/capture.jsonl* >"$work/$case" 2>/dev/null || fail "replay of $case"
done
python3 "$here/schema_check.py" "$schema" $base "$work"/{live,02-readings,03-heater-failure,09-rubbish,13-life} || fail "not as the schemas say"

# What the schema forbids is refused by name; each of these is no valid request.
cat >"$work/bad" <<'BAD'
{"tank":"a1","kind":"temp-low","colour":"red"}
{"kind":"temp-low"}
{"id":"tank/a1/temp-low","tank":"a1"}
{"tank":"a1","minutes":"30"}
{"tank":7}
{"tank":"a1","minutes":-1}
{"tank":"a1","value":3}
{"tank":"a1","quantity":"colour","value":3}
{"tank":"a1","quantity":"temp","points":[]}
{"tank":"a1","quantity":"temp","points":[{"raw":1}]}
{"tank":"a1","undo":"yes","quantity":"temp"}
{"tank":"a1","gain":1000,"quantity":"temp"}
[]
BAD
python3 - "$schema/command.json" "$work/bad" <<'PY' || fail "the schema takes what is refused"
import json, sys, jsonschema
check = jsonschema.Draft202012Validator(json.load(open(sys.argv[1])))
taken = [line for line in open(sys.argv[2]) if check.is_valid(json.loads(line))]
print("valid for the schema:", *taken)
sys.exit(bool(taken))
PY
start_daemon_online
hear answers "$base/done"
while read -r line; do pub "$base/do/calibrate" "$line"; done <"$work/bad"
wait_for 10 eval '[ "$(heard_times answers "\"ok\":false")" -eq 13 ]' || fail "$(cat "$work/answers")"
stop_daemon
