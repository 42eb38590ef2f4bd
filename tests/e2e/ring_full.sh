#!/bin/bash
# More comes at once than the ring has room for: what does not fit is held back at the broker and comes again, none of it is
# lost, and the alert says that the ring is too small.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
sed -i 's/commit_s = 1;/commit_s = 1; inbox_kib = 128;/
    s/^alerts = (/alerts = ( { kind = "inbox-full"; on_delay_s = 0; },/' "$conf"
start_daemon_online
hear heard "$base/alert/#"
first=$(($(now_ms) - 36000000))
sent=0
held_back() { grep -q 'no room for the message' "$work/daemon.log"; }
for _ in 1 2 3 4 5 6 7 8; do
    seq -f '{"t":%.0f,"ec":250}' $((first + sent)) $((first + sent + 9999)) | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a1 -l
    sent=$((sent + 10000))
    ! held_back || break
done
all() { [ "$(query "SELECT count(*) FROM stored")" -eq $sent ]; }
wait_for 90 all || fail "$(query "SELECT count(*) FROM stored") readings of $sent"
held_back || { echo "this machine never lets the ring fill"; exit 77; }
must_hear heard "^$base/alert/lentic/inbox-full .*UNACK.*no room [0-9]+ times" 30
must_hear heard 'inbox-full .*inbox_kib'
kill -0 "$daemon" || fail "the daemon died of it"
figure "more at once than the ring holds" $sent "readings, none lost; the alert says so"
stop_daemon
