#!/bin/bash
# Somebody's shell has a transaction open in the store and is forgotten: the log beside the store grows, the alert says how
# far and which process it is, readings and alerts go on; when the shell ends, the log is cut and the alert goes by itself.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
sed -i 's/commit_s = 1;/commit_s = 0.1; commit_rows = 20; log_most_mib = 8;/
    s/^alerts = (/alerts = ( { kind = "log-held"; on_delay_s = 1; off_delay_s = 0; },/' "$conf"
start_daemon_online
hear heard "$base/alert/#"
pub probes/a1/temp 22.0
wait_for 10 stored a1 temp 1 || fail "not stored"

mkfifo "$work/orders"
python3 - "$work/lentic.db" "$work/orders" <<'PY' &
import sqlite3, sys
db = sqlite3.connect(f'file:{sys.argv[1]}?mode=ro', uri=True, isolation_level=None)
db.execute('BEGIN')
db.execute('SELECT count(*) FROM recent').fetchall()
open(sys.argv[2]).read()  # until somebody ends it
PY
reader=$!
listeners+=($reader)
reads() { ls -l "/proc/$reader/fd" | contains 'lentic.db-shm'; }
wait_for 10 reads || fail "the reader does not read"
log_bytes() { stat -c %s "$work/lentic.db-wal"; }
sent=0
grow() { # until the log is longer than that many MiB
    for _ in $(seq 200); do
        [ "$(log_bytes)" -le $(($1 << 20)) ] || return 0
        seq -f "{\"t\": %.0f, \"ec\": 250}" $(($(now_ms) - 100000000 + sent)) $(($(now_ms) - 100000000 + sent + 1999)) |
            mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a2 -l
        sent=$((sent + 2000))
    done
    fail "the log does not grow: $(log_bytes)"
}
grow 4
sleep 2
! heard heard 'log-held [01] .*UNACK' || fail "told of a log that is not long"
grow 9
must_hear heard "^$base/alert/lentic/log-held .*UNACK"
must_hear heard "log-held .*the log is [0-9]+ MiB: process $reader \(python3[^)]*\) has the store open"
must_hear heard 'log-held .*disk is full'
must_hear heard 'log-held .*End that program'
pub probes/a1/temp 18.0
must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK"
longest=$(log_bytes)

exec 3>"$work/orders"
exec 3>&-
wait $reader || fail "the reader did not end well"
pub probes/a1/temp 22.0
must_hear heard "^$base/alert/lentic/log-held .*(RTNUN|NORM)" 30
[ "$(log_bytes)" -lt 8388609 ] || fail "the log was not cut: $(log_bytes)"
wait_for 5 stored a1 temp 3 || fail "a reading is missing"
figure "a program reads the store without end" $((longest >> 20)) "MiB of log; told with its process, cut when that ended"
stop_daemon
