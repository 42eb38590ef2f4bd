#!/bin/bash
# No room for the message ring: refused at the start with a sentence. Room then, and a disk that fills up afterwards while the
# ring lies on it (sync = "every"): messages are still taken, alerts come, a note is kept; killed in that state and started again,
# everything is there once there is room.
. "$(dirname "$0")/lib.sh"
unshare -rm true 2>/dev/null || { echo "no user namespaces here"; exit 77; }
start_broker
mkdir "$work/disk"
mkfifo "$work/never-ending"
write_conf ""
sed -i "s#path = \"$work/lentic.db\"#path = \"$work/disk/lentic.db\"; sync = \"every\"#" "$conf"

# small_disk SIZE: a file system of that size on $work/disk, for what is started with there
small_disk() {
    unshare -rm bash -c "mount -t tmpfs -o size=$1 tmpfs '$work/disk' && echo ready >'$work/mounted' && read -r <>'$work/never-ending'" &
    holder=$!
    listeners+=($holder)
    wait_for 5 test -s "$work/mounted" || { echo "no file systems in a user namespace here"; exit 77; }
    rm "$work/mounted"
}
there() { nsenter --preserve-credentials -U -m -t $holder "$@"; }
rows() { there "$lentic" export --store "$work/disk/lentic.db" --days 2 2>/dev/null | grep -c ',temp,' || true; }
start_there() {
    (exec nsenter --preserve-credentials -U -m -t $holder "$lenticd" --conf "$conf") </dev/null >>"$work/daemon.log" 2>&1 &
    daemon=$!
}

small_disk 1200k
start_there
status=0
wait $daemon || status=$?
daemon=''
[ $status -ne 0 ] || fail "it started without room for the ring"
grep -qE 'disk/lentic.db.inbox.*: no room left there for the message ring: free some' "$work/daemon.log" || fail "not told: $(cat "$work/daemon.log")"
kill $holder

small_disk 6m
start_there
wait_for 20 online || fail "not online"
hear heard "$base/alert/#" "$base/done"
there dd if=/dev/zero of="$work/disk/filling" bs=1k >/dev/null 2>&1 || true
for i in 1 2 3 4 5; do pub probes/a1/temp "22.$i"; done
pub probes/a1/temp 18.0
must_hear heard '/temp-low .*UNACK' 10
pub $base/do/note '{"tank":"a1","what":"test","quantity":"gh","value":5}'
must_hear heard '/done .*"ok":true' 10
kill_daemon
start_there
wait_for 20 online || fail "not online on a full disk"
pub probes/a1/temp 22.6
must_hear heard '/temp-low .*RTNUN' 10
there rm "$work/disk/filling"
all() { [ "$(rows)" -eq 7 ]; }
wait_for 70 all || fail "$(rows) readings of 7"
there python3 - "$work/disk/lentic.db" <<'PY' >"$work/notes"
import sqlite3, sys
db = sqlite3.connect(f'file:{sys.argv[1]}?mode=ro', uri=True)
print(db.execute("SELECT count(*) FROM journal WHERE kind = 'test'").fetchone()[0])
print(db.execute("SELECT count(*) FROM alert_change WHERE ref = 'tank/a1/temp-low' AND change = 'raise'").fetchone()[0])
PY
[ "$(tr '\n' ' ' <"$work/notes")" = '1 1 ' ] || fail "notes and raises: $(cat "$work/notes")"
figure "disk full under ring and journal" 7 "readings and a note over a kill; none lost, none twice; the alert raised once"
stop_daemon
