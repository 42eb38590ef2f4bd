#!/bin/bash
# With the rights of conf/mosquitto.acl the service does all its work, a keeper can command, a board and a probe cannot.
. "$(dirname "$0")/lib.sh"
command -v mosquitto_passwd >/dev/null || { echo "no mosquitto_passwd here"; exit 77; }
port=$((20000 + RANDOM % 20000))
cp "$(dirname "$0")/../../conf/mosquitto.acl" "$work/acl"
: >"$work/passwd"
for user in lentic probe board keeper; do mosquitto_passwd -b "$work/passwd" $user secret-$user 2>/dev/null; done
chmod 600 "$work/passwd" "$work/acl"
printf 'listener %d 127.0.0.1\nallow_anonymous false\npassword_file %s\nacl_file %s\n' "$port" "$work/passwd" "$work/acl" >"$work/broker.conf"
[ "$(id -u)" -ne 0 ] || echo 'user root' >>"$work/broker.conf"
mosquitto -c "$work/broker.conf" </dev/null >>"$work/broker.out" 2>&1 &
broker=$!
wait_for 5 listens "$port" || fail "no broker: $(cat "$work/broker.out")"
as() { # USER PROGRAM WORD...
    local user=$1 program=$2
    shift 2
    "$program" -h 127.0.0.1 -p "$port" -u "$user" -P "secret-$user" "$@"
}

write_conf ""
echo secret-lentic >"$work/password"
chmod 600 "$work/password"
sed -i "s#^broker = {#broker = { user = \"lentic\"; password_file = \"$work/password\";#; s#docs/{tank}#rack-b/{tank}#" "$conf"
tried() { # CODE WORDS OPTION...
    local code=$1 words=$2 said got=0
    shift 2
    said=$("$lentic" check --broker "$@" 2>&1) || got=$?
    [ $got -eq "$code" ] && grep -qF -- "$words" <<<"$said" || fail "check --broker $*: exit $got: $said"
}
tried 0 "takes its 4 subscriptions and hands back" "$conf"
sed 's/user = "lentic"/user = "nobody"/' "$conf" >"$work/other.conf"
tried 3 "user" "$work/other.conf"
sed "s/port = $port/port = 1/" "$conf" >"$work/other.conf"
tried 3 "no answer from a broker" "$work/other.conf"
sed "s#user = \"lentic\"#user = \"board\"#; s#$work/password#$work/password2#" "$conf" >"$work/other.conf"
echo secret-board >"$work/password2"
chmod 600 "$work/password2"
tried 3 "does not come back" "$work/other.conf"
start_daemon
up() { as board mosquitto_sub -t $base/status -C 1 -W 1 2>/dev/null | contains '"state":"online"'; }
wait_for 20 up || fail "not online with these rights: $(tail -3 "$work/daemon.log")"
grep -qiE 'refused|not allowed|denied' "$work/daemon.log" && fail "something was refused to the service: $(grep -iE 'refused|denied' "$work/daemon.log")"

as board mosquitto_sub -t "$base/#" -t 'homie/5/#' -F '%t %r %p' >"$work/heard" 2>/dev/null &
listeners+=($!)
sleep 0.5
as probe mosquitto_pub -q 1 -t probes/a1/temp -m 18.0
must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK"
must_hear heard '^homie/5/.*\$state . ready'

# command USER: is the alert acknowledged?
acked() { as board mosquitto_sub -t $base/alert/tank/a1/temp-low -C 1 -W 2 2>/dev/null | contains '"state":"ACKED"'; }
for user in board probe; do
    as $user mosquitto_pub -q 1 -t $base/do/ack -m '{"tank":"a1","kind":"temp-low"}' 2>/dev/null || true
    as $user mosquitto_pub -q 1 -t probes/../x -m 1 2>/dev/null || true
    sleep 0.5
    ! acked || fail "$user may command"
done
as keeper mosquitto_pub -q 1 -t probes/a1/temp -m 25.0 2>/dev/null || true
as keeper mosquitto_pub -q 1 -t $base/do/ack -m '{"tank":"a1","kind":"temp-low","who":"Ada"}'
wait_for 10 acked || fail "the keeper's command did nothing"
# What a probe cannot hear, and what a keeper cannot say.
heard_by_probe=$(as probe mosquitto_sub -t "$base/#" -C 1 -W 2 2>/dev/null || true)
[ -z "$heard_by_probe" ] || fail "a probe hears: $heard_by_probe"
stored a1 temp 1 || wait_for 5 stored a1 temp 1 || fail "readings: $(past a1 temp)"
stop_daemon
