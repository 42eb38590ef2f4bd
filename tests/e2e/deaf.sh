#!/bin/bash
# Connected, subscribed, and nothing comes: a broker that keeps back what the service should hear is found out by the
# heartbeat that does not come back, and told as a broker that is down; silent probes are then no news of their own.
. "$(dirname "$0")/lib.sh"
command -v mosquitto_passwd >/dev/null || { echo "no mosquitto_passwd here"; exit 77; }
port=$((20000 + RANDOM % 20000))
: >"$work/passwd"
for user in lentic board; do mosquitto_passwd -b "$work/passwd" $user secret-$user 2>/dev/null; done
printf 'user lentic\ntopic write lentic/millrace/#\ntopic readwrite homie/5/#\n\nuser board\ntopic readwrite #\n' >"$work/acl"
chmod 600 "$work/passwd" "$work/acl"
printf 'listener %d 127.0.0.1\nallow_anonymous false\npassword_file %s\nacl_file %s\n' "$port" "$work/passwd" "$work/acl" >"$work/broker.conf"
[ "$(id -u)" -ne 0 ] || echo 'user root' >>"$work/broker.conf"
mosquitto -c "$work/broker.conf" </dev/null >>"$work/broker.out" 2>&1 &
broker=$!
wait_for 5 listens "$port" || fail "no broker: $(cat "$work/broker.out")"
write_conf ""
sed -i "s/^alerts = (/alerts = ( { kind = \"broker-down\"; on_delay_s = 0; },/" "$conf"
echo secret-lentic >"$work/password"
chmod 600 "$work/password"
sed -i "s#^broker = {#broker = { user = \"lentic\"; password_file = \"$work/password\";#; s#publish = {#publish = { heartbeat_s = 5;#" "$conf"
mosquitto_sub -h 127.0.0.1 -p "$port" -u board -P secret-board -t "$base/#" -F '%t %r %p' >"$work/heard" 2>/dev/null &
listeners+=($!)
start_daemon
must_hear heard "^$base/heartbeat" 30
must_hear heard "^$base/alert/lentic/broker-down .*our own heartbeat does not come back" 120
kill -0 "$daemon" || fail "the daemon ended"
