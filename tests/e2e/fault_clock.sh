#!/bin/bash
# The daemon's clock at 1970 when it starts, then right, an hour ahead, right, ten years ahead, right: alerts come all the
# time, nothing is taken for silent, and each reading stands at the time at which it truly came. Then an hour back, which is
# believed at once, and right again, which is believed after five minutes: no reading is lost. The connection stands through
# all of it, though its keepalive is short.
. "$(dirname "$0")/lib.sh"
make_time
hour=3600000
start_broker
write_conf "" "" ", { topic = \"probes/{tank}/ph\"; measures = \"ph\"; every_s = 60; }"
sed -i 's/^broker = {/broker = { keepalive_s = 5;/' "$conf"
set_time "-$(now_ms)" 1
start_timed
hear heard "$base/alert/#" "$base/event"
sent=0
: >"$work/sent"
send() { # VALUE, no two alike
    echo "$1 $(now_ms)" >>"$work/sent"
    pub probes/a1/temp "$1"
    sent=$((sent + 1))
}
# under OFF_MS: an alert up and down with the clock that far off
under() {
    set_time "$1" 1
    : >"$work/heard"
    send "18.$((10 + sent))"
    must_hear heard '^[^ ]*/temp-low [01] .*UNACK' 10
    send "22.$((10 + sent))"
    must_hear heard '^[^ ]*/temp-low [01] .*RTNUN' 10
}
pub probes/a1/ph 7.1
under "-$(now_ms)"
for off in 0 $hour 0 $((10 * 365 * 24 * hour)) 0; do under $off; done
settled() { [ "$(query "SELECT count(*) FROM stored WHERE value > 10")" -eq $sent ]; }
wait_for 10 settled || fail "$(query "SELECT count(*) FROM stored WHERE value > 10") readings of $sent"
query "SELECT printf('%.2f', value), t_ms FROM stored WHERE value > 10" | tr '|' ' ' | sort >"$work/got"
off=$(sort "$work/sent" | join - "$work/got" | awk '{ d = $3 - $2; if (d < 0) d = -d; if (d > most) most = d; n++ } END { print n + 0, most + 0 }')
[ "${off% *}" -eq $sent ] || fail "$off readings are there with their values, of $sent"
[ "${off#* }" -lt 5000 ] || fail "a reading stands ${off#* } ms from when it came"
figure "clock at 1970, 1 h and 10 years ahead" $sent "readings, all stored, at most ${off#* } ms from when they came; all alerts came"

under -$hour
under 0
set_time 0 60
wait_for 15 settled || fail "$(query "SELECT count(*) FROM stored WHERE value > 10") readings of $sent after a step back"
[ "$(query "SELECT count(*) FROM alert_change WHERE ref NOT LIKE '%/temp-low'")" -eq 0 ] ||
    fail "other alerts: $(query 'SELECT ref, change FROM alert_change')"
figure "clock an hour back and right again" $sent "readings, all stored; all alerts came, no other one"
! grep -q 'broker' "$work/daemon.log" || fail "the connection did not stand: $(grep broker "$work/daemon.log")"
stop_daemon
