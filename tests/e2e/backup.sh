#!/bin/bash
# A copy taken while the service writes is sound and can be put back; what was there is kept; a span comes out as CSV.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf
start_daemon_online
copy=$work/copy.db

for i in 21 22 23; do
    mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -m $i.5
    sleep 0.1
done
rows() { "$lentic" export --conf "$conf" | grep -c ',temp,'; }
three() { [ "$(rows)" = 3 ]; }
wait_for 10 three || fail "three readings are not in the store"

"$lentic" backup --conf "$conf" "$copy" >"$work/said" || fail "no copy: $(cat "$work/said")"
grep -q '3 readings' "$work/said" || fail "the copy counts otherwise: $(cat "$work/said")"
status=0
"$lentic" backup --conf "$conf" "$copy" 2>"$work/said" || status=$?
[ $status -eq 1 ] && grep -q 'never written over' "$work/said" || fail "a copy went over another ($status)"
status=0
"$lentic" restore --conf "$conf" "$copy" 2>"$work/said" || status=$?
[ $status -eq 1 ] && grep -q 'stop it first' "$work/said" || fail "restored under a running service ($status)"

mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -m 20.5
four() { [ "$(rows)" = 4 ]; }
wait_for 10 four || fail "the writer stopped after the copy"
stop_daemon
"$lentic" restore --conf "$conf" "$copy" >"$work/said" || fail "not restored: $(cat "$work/said")"
grep -q 'replaced-1' "$work/said" || fail "what was there is not told: $(cat "$work/said")"
three || fail "the copy is not in place: $(rows) rows"
[ "$("$lentic" export --store "$work/lentic.db.replaced-1" | grep -c ',temp,')" = 4 ] || fail "the former store is not whole"

start_daemon_online
mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -m 20.7
new() { "$lentic" export --conf "$conf" | contains ',20.7,'; }
wait_for 10 new || fail "the restored store takes no readings"

"$lentic" export --conf "$conf" --json-lines --out "$work/out.jsonl" >/dev/null
python3 -c 'import json, sys; rows = [json.loads(l) for l in open(sys.argv[1])]; assert len(rows) >= 4 and rows[0]["value"] == 21.5, rows' \
    "$work/out.jsonl" || fail "JSON lines"
status=0
"$lentic" export --conf "$conf" --place nowhere 2>/dev/null || status=$?
[ $status -eq 1 ] || fail "nothing there is exit code 1, was $status"
status=0
"$lentic" export --conf "$conf" raedings 2>"$work/said" || status=$?
[ $status -eq 2 ] && grep -q 'did you mean readings' "$work/said" || fail "a slip of the pen ($status): $(cat "$work/said")"
