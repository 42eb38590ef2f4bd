#!/bin/bash
# Messages to people through the configured command: at once, as text and as JSON, again after it failed, after a
# restart too; a test message is answered with what became of it.
. "$(dirname "$0")/lib.sh"
start_broker
cat >"$work/send" <<'SH'
#!/bin/sh
[ -e "$1/broken" ] && { echo "line is down"; exit 5; }
cat >>"$1/got"
SH
chmod +x "$work/send"
write_conf "notify = { command = [\"$work/send\", \"$work\"]; };"
start_daemon_online
got() { grep -qE -- "$1" "$work/got"; }
gets() { wait_for "${2:-10}" got "$1" || fail "people did not get $1: $(cat "$work/got" 2>/dev/null)"; }

pub probes/a1/temp 18.0
gets '^ALERT, high priority - tank/a1 \(Crystals\): temperature below the band'
gets '^Millrace, [A-Z][a-z][a-z] [0-9:]{5}$'
pub probes/a1/temp 22.0
gets '^OVER - tank/a1'
[ "$(grep -cE '^(ALERT|OVER)' "$work/got")" -eq 2 ] || fail "more than two messages: $(cat "$work/got")"

"$lentic" alerts --test --who Ann --conf "$conf" >"$work/said" 2>&1 || fail "test: $(cat "$work/said")"
grep -q 'Command: the notify command took the test message' "$work/said" || fail "test: $(cat "$work/said")"
gets '^TEST - test message, asked for by Ann'
touch "$work/broken"
status=0
"$lentic" alerts --test --conf "$conf" >"$work/said" 2>&1 || status=$?
[ $status -eq 1 ] && grep -q 'exit code 5: line is down' "$work/said" || fail "broken test: $status $(cat "$work/said")"

# A message that could not be delivered survives a kill and comes with its own time.
rm "$work/got"
pub probes/a1/temp 17.0
wait_for 10 grep -q 'not delivered: exit code 5' "$work/daemon.log" || fail 'the failure was not told'
kill_daemon
rm "$work/broken"
sed -i 's|notify = {|notify = { format = "json";|' "$conf"
start_daemon_online
gets '^\{"message":"alert","site":"millrace".*"ref":"tank/a1/temp-low".*"title":"ALERT, high' 60
python3 - "$work/got" <<'PY' || fail "$(cat "$work/got")"
import json, sys
lines = [json.loads(line) for line in open(sys.argv[1])]
assert lines[0]["body"]["announced"] is True and lines[0]["body"]["id"] == "tank/a1/temp-low"
assert lines[0]["text"].startswith(lines[0]["title"])
PY
stop_daemon
