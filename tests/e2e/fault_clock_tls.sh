#!/bin/bash
# A board without a battery starts in 1970, when the broker's certificate does not count yet: the service says that the clock
# is the likely cause, raises the alert with that, goes on trying, and is connected soon after the clock was set. With a
# certificate refused under a clock that is believed, the time it shows is told, too.
. "$(dirname "$0")/lib.sh"
command -v openssl >/dev/null || { echo "no openssl here"; exit 77; }
make_time
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30 -subj /CN=right -addext subjectAltName=IP:127.0.0.1 \
    -keyout "$work/broker.key" -out "$work/broker.pem" 2>/dev/null || fail "no certificate"
chmod 644 "$work/broker.key"
start_tls_broker
printf '#!/bin/sh\ncat >>"%s/got"\n' "$work" >"$work/send"
chmod +x "$work/send"
write_conf "notify = { command = [\"$work/send\"]; };"
sed -i "s#^broker = {#broker = { tls = true; ca_file = \"$work/broker.pem\";#
    s/^alerts = (/alerts = ( { kind = \"broker-down\"; on_delay_s = 3; off_delay_s = 0; },/" "$conf"
said() { grep -qE -- "$1" "$work/daemon.log"; }
got() { grep -qE -- "$1" "$work/got"; }
tries() { [ "$(grep -c 'OpenSSL Error\|SSL_accept\|protocol error' "$work/broker.out")" -ge "$1" ]; }

set_time "-$(now_ms)" 1
launch_timed
wait_for 15 said 'certificate does not count yet by the clock here, which says 1970-01-0.* set it' || fail "the clock is not named"
wait_for 15 got '^ALERT, high priority - .*broker not reached' || fail "people were not told: $(cat "$work/got" 2>/dev/null)"
wait_for 5 got 'by the clock here, which says 1970-01-0' || fail "people were not told of the clock: $(cat "$work/got")"
wait_for 60 tries 3 || fail "not tried again: $(cat "$work/broker.out")"
kill -0 "$daemon" || fail "the daemon ended over it"

set_time 0 1
at=$(now_ms)
up() { mosquitto_sub -h 127.0.0.1 -p "$port" --cafile "$work/broker.pem" -t $base/status -C 1 -W 2 2>/dev/null | contains '"state":"online"'; }
wait_for 20 up || fail "not connected after the clock was set"
took=$((($(now_ms) - at) / 1000))
wait_for 20 got '^OVER - .*broker not reached' || fail "not told that it is over"
stop_daemon
figure "clock at 1970 when a certificate is checked" "$took" "s from the clock being set to online; told as such meanwhile"

set_time $((14 * 365 * 24 * 3600 * 1000)) 1
launch_timed
wait_for 15 said "certificate verify failed; the clock here says 20[3-9][0-9]-" || fail "the time is not told"
stop_daemon
