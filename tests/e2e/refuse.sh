#!/bin/bash
# What the daemon refuses to start with, and how it says so.
. "$(dirname "$0")/lib.sh"
start_broker

# refused CODE PATTERN: starts, ends by itself within ten seconds with that code, having said that
refused() {
    local status=0
    timeout 10 "$lenticd" --conf "$conf" </dev/null >"$work/refused.log" 2>&1 || status=$?
    if [ $status -ne "$1" ] || ! grep -qE -- "$2" "$work/refused.log"; then
        fail "ended with $status, want $1 and \"$2\"; it said: $(cat "$work/refused.log")"
    fi
}

write_conf 'stokcs = ( );'
line=$(grep -n stokcs "$conf" | cut -d: -f1)
refused 2 "site.conf:$line: .*\"stokcs\".*stocks"
write_conf '' 'heater_w = -5.0;'
refused 2 'site.conf:5: heater_w'
conf=$work/none.conf
refused 2 'none.conf'
conf=$work/site.conf

secret=$work/password
echo hunter >"$secret"
chmod 644 "$secret"
write_conf ""
sed -i "s#^broker = {#broker = { user = \"lentic\"; password_file = \"$secret\";#" "$conf"
refused '2' "$secret.*0644.*chmod 600"
chmod 600 "$secret"
start_daemon_online
grep -q hunter "$work/daemon.log" && fail "the password is in the log"

# The same store twice.
refused 3 "another daemon.*$daemon"
stop_daemon

# A store of a newer version: not touched.
python3 - "$work/lentic.db" <<'PY'
import sqlite3, sys
sqlite3.connect(sys.argv[1]).execute('PRAGMA user_version=999').connection.close()
PY
cp "$work/lentic.db" "$work/newer"
refused 3 'version 999, this program knows up to [0-9]+: install the newer program'
cmp -s "$work/lentic.db" "$work/newer" || fail "the store of a newer version was changed"

# Another program's file in the store's place.
rm -f "$work"/lentic.db*
head -c 4096 /dev/urandom >"$work/lentic.db"
cp "$work/lentic.db" "$work/foreign"
start_daemon_online
stop_daemon
find "$work" -name 'lentic.db*' -size 4096c -exec cmp -s {} "$work/foreign" \; -print | contains . ||
    fail "the strange file was not set aside unchanged"
