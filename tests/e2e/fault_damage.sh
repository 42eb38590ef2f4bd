#!/bin/bash
# Bytes of the store flipped: in its head, in a page, in its log. It is set aside, what can be read is carried over, the
# keeper is told, and the service goes on.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
begin=$(($(now_ms) - 3600000))
for ((i = 0; i < 3000; i++)); do echo "{\"t\":$((begin + i * 100)),\"ec\":$((100 + i)).5}"; done |
    mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a1 -l
wait_for 30 stored a1 ec 3000 || fail "3,000 readings are not there"

# flip FILE OFFSET BYTES
flip() {
    python3 - "$@" <<'PY'
import sys
path, at, n = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
with open(path, 'r+b') as f:
    f.seek(at); data = f.read(n); f.seek(at); f.write(bytes(b ^ 0x5a for b in data))
PY
}
after() { past a1 ec | wc -l; }
damaged() { # WHAT: starts on what was flipped
    start_daemon
    wait_for 30 online || fail "not online with a damaged $1: $(tail -3 "$work/daemon.log")"
    pub docs/a1 "{\"t\":$(now_ms),\"ec\":99.5}"
    new() { past a1 ec | contains ',99.5,'; }
    wait_for 15 new || fail "nothing new is stored after a damaged $1"
}

stop_daemon
cp "$work/lentic.db" "$work/sound.db"
flip "$work/lentic.db" 20480 2048
damaged page
ls "$work"/lentic.db.damaged-1 >/dev/null || fail "the damaged store was not set aside"
grep -q 'damaged: set aside as' "$work/daemon.log" || fail "not told"
saved=$(after)
figure "a page of the store flipped" "$saved" "of 3001 readings carried over; the rest stays in the file set aside"
stop_daemon

cp "$work/sound.db" "$work/lentic.db"
rm -f "$work"/lentic.db-*
flip "$work/lentic.db" 0 100
damaged head
figure "the head of the store flipped" "$(after)" "readings; set aside whole, begun anew"
kill_daemon

# Its log: what was not yet in the file.
[ -s "$work/lentic.db-wal" ] || fail "no log to damage"
before=$(after)
flip "$work/lentic.db-wal" 2000 200
damaged log
figure "the log of the store flipped" "$(after)" "of $((before + 1)) readings; the ring gave back what the log lost"
stop_daemon
