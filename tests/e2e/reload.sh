#!/bin/bash
# SIGHUP: a faulty configuration is refused and the old one stays, a sound one is taken over without a gap.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
hear heard "$base/#"
pub probes/a1/temp 22.5
must_hear heard "^$base/tank/a1 .*22.50"

said() { grep -qE -- "$1" "$work/daemon.log"; }
cp "$conf" "$work/good.conf"
sed -i 's/volume_l = 30.0/volum_l = 30.0/' "$conf"
kill -HUP "$daemon"
wait_for 10 said "site.conf:5: .*\"volum_l\".*volume_l" || fail "the fault was not told with its line"
wait_for 10 said 'old configuration stays' || fail "not said that the old one stays"
kill -0 "$daemon" || fail "the daemon ended"
pub probes/a1/temp 18.5
must_hear heard "^$base/alert/tank/a1/temp-low .*\"value\":18.50"

# A band that makes 18.5 °C well, and another probe.
sed 's/temp = \[20.0, 24.0\]/temp = [15.0, 24.0]/; s#^probes = (#probes = ( { topic = "other/{tank}"; measures = "ph"; },#' \
    "$work/good.conf" >"$conf"
kill -HUP "$daemon"
wait_for 10 said 'new configuration is in force' || fail "the good configuration was not taken"
pub other/a1 7.25
must_hear heard "^$base/tank/a1 .*\"ph\":\{\"value\":7.25"
pub probes/a1/temp 18.6
must_hear heard "^$base/event .*\"clear\".*temp-low"
wait_for 10 stored a1 temp 3 || fail "not three readings: $(past a1 temp)"

# What is gone from the configuration is gone from the broker.
sed 's/^probes = (.*/probes = (/; s/{ id = "a2"[^}]*}/{ id = "a3"; volume_l = 10.0; }/' "$work/good.conf" >"$conf"
pub probes/a2/temp 21.0
must_hear heard "^$base/tank/a2 .*21.00"
kill -HUP "$daemon"
must_hear heard "^$base/tank/a2 0 *$"
stop_daemon
