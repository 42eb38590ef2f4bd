#!/bin/bash
# The password and the private key stand in no log, topic, message, store, ring, list or command line, whatever goes wrong with
# them, at the highest level of logging.
. "$(dirname "$0")/lib.sh"
command -v mosquitto_passwd >/dev/null || { echo "no mosquitto_passwd here"; exit 77; }
secret=pale-Otter-93 wrong=pale-Heron-17
mkdir "$work/secrets"
chmod 700 "$work/secrets"
port=$((20000 + RANDOM % 20000))
: >"$work/secrets/passwd"
mosquitto_passwd -b "$work/secrets/passwd" lentic "$secret" 2>/dev/null
mosquitto_passwd -b "$work/secrets/passwd" keeper plain 2>/dev/null
printf 'listener %d 127.0.0.1\nallow_anonymous false\npassword_file %s\n' "$port" "$work/secrets/passwd" >"$work/secrets/broker.conf"
[ "$(id -u)" -ne 0 ] || echo 'user root' >>"$work/secrets/broker.conf"
mosquitto -c "$work/secrets/broker.conf" </dev/null >>"$work/secrets/broker.out" 2>&1 &
broker=$!
wait_for 5 listens "$port" || fail "no broker: $(cat "$work/secrets/broker.out")"
as_keeper() { "$@" -h 127.0.0.1 -p "$port" -u keeper -P plain; }

cat >"$work/tell" <<TELL
#!/bin/bash
{ printf '%s\n' "\$@"; cat; env; } >>"$work/told"
TELL
chmod +x "$work/tell"
write_conf "notify = { command = [\"$work/tell\"]; };"
echo "$wrong" >"$work/secrets/password"
chmod 600 "$work/secrets/password"
sed -i "s#^broker = {#broker = { user = \"lentic\"; password_file = \"$work/secrets/password\";#" "$conf"
"$lenticd" --verbose --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
daemon=$!
refused() { grep -qi 'password' "$work/daemon.log"; }
wait_for 15 refused || fail "the refused password is not told"
echo "$secret" >"$work/secrets/password"
up() { as_keeper mosquitto_sub -t $base/status -C 1 -W 1 2>/dev/null | contains '"state":"online"'; }
wait_for 40 up || fail "not online with the right password"
as_keeper mosquitto_sub -t '#' -t '$SYS/#' -F '%t %r %p %P' >"$work/heard" 2>/dev/null &
listeners+=($!)
sleep 0.5
as_keeper mosquitto_pub -q 1 -t probes/a1/temp -m 18.0
must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK"
as_keeper mosquitto_pub -q 1 -t $base/do/note -m '{"tank":"a1","what":"test","quantity":"gh","value":5}'
as_keeper mosquitto_pub -q 1 -t $base/do/test -m '{}'
wait_for 10 test -s "$work/told" || fail "nobody was told"
tr '\0' ' ' <"/proc/$daemon/cmdline" >"$work/cmdline"
tr '\0' '\n' <"/proc/$daemon/environ" >"$work/environ"
# A file that others may read: told at the reload, without what stands in it.
chmod 644 "$work/secrets/password"
kill -HUP "$daemon"
sleep 1
chmod 600 "$work/secrets/password"
{
    "$lentic" check --conf "$conf" || true
    "$lentic" check --json --conf "$conf" || true
    "$lentic" now --conf "$conf" --json || true
    "$lentic" alerts --conf "$conf" --json || true
    "$lentic" export --conf "$conf" --days 2 || true
    "$lentic" backup --conf "$conf" "$work/copy.db" || true
    "$lentic" now --conf "$work/secrets/password" || true # taken for a configuration: its text must not be told
} >"$work/printed" 2>&1
kill -KILL "$daemon" # no clean end: what is left lies as it was
wait "$daemon" 2>/dev/null || true
daemon=''
[ -s "$work/lentic.db" ] && [ -s "$work/run/inbox" ] && [ -s "$work/printed" ] && [ -s "$work/heard" ] || fail "nothing to look through"
found=$(grep -raliE "$secret|$wrong" "$work" --exclude-dir=secrets || true)
[ -z "$found" ] || fail "the password stands in $found"
[ "$(grep -rali temp-low "$work" --exclude-dir=secrets | wc -l)" -ge 4 ] || fail "the search finds nothing at all"
