#!/bin/bash
# The certificate file ends in twelve days: people are told the date, and it is over when a new one lies in its place, though the
# connection stands all the while. One with forty days left is no news.
. "$(dirname "$0")/lib.sh"
command -v openssl >/dev/null || { echo "no openssl here"; exit 77; }
make_time
openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN=127.0.0.1 -keyout "$work/broker.key" -out "$work/broker.csr" 2>/dev/null
chmod 644 "$work/broker.key"
echo subjectAltName=IP:127.0.0.1 >"$work/names"
valid() { # DAYS
    openssl x509 -req -in "$work/broker.csr" -signkey "$work/broker.key" -days "$1" -extfile "$work/names" -out "$work/broker.pem" 2>/dev/null ||
        fail "no certificate"
}
valid 40
start_tls_broker
printf '#!/bin/sh\ncat >>"%s/got"\n' "$work" >"$work/send"
chmod +x "$work/send"
: >"$work/got"
write_conf "notify = { command = [\"$work/send\"]; };"
sed -i "s#^broker = {#broker = { tls = true; ca_file = \"$work/broker.pem\";#
    s/^alerts = (/alerts = ( { kind = \"certificate-ends\"; on_delay_s = 1; off_delay_s = 0; },/" "$conf"
up() { mosquitto_sub -h 127.0.0.1 -p "$port" --cafile "$work/broker.pem" -t $base/status -C 1 -W 2 2>/dev/null | contains '"state":"online"'; }
got() { grep -qE -- "$1" "$work/got"; }
# An hour goes by in no time.
hour() {
    set_time 0 1200
    sleep 5
    set_time 0 1
}
launch_timed
wait_for 20 up || fail "not connected: $(cat "$work/daemon.log")"
sleep 2
! got 'certificate' || fail "told forty days ahead: $(cat "$work/got")"
valid 12
hour
wait_for 10 got '^ALERT, low priority - .*certificate for the broker ends soon' || fail "not told: $(cat "$work/got")"
got 'broker.ca_file .*ends on 20[0-9-]*, in 1[12] days' || fail "the day is not told: $(cat "$work/got")"
valid 90
hour
wait_for 10 got '^OVER - .*certificate' || fail "not over after it was renewed: $(cat "$work/got")"
! got 'broker not reached' || fail "the connection did not stand"
stop_daemon
