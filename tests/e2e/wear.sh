#!/bin/bash
# The status tells what the service has written to the disk: as much as the kernel charges it for.
. "$(dirname "$0")/lib.sh"
[ "$(df --output=fstype "$work" | tail -1)" != tmpfs ] || { echo "$work is in memory: nothing to count"; exit 77; }
start_broker
write_conf ""
start_daemon_online
counted() { awk '/^write_bytes/ { w = $2 } /^cancelled/ { c = $2 } END { print w - c }' "/proc/$daemon/io"; }
told() { mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/status -C 1 -W 5 | sed -nE 's/.*"disk_bytes":([0-9]+).*/\1/p'; }
before=$(counted)
for ((i = 0; i < 3000; i++)); do echo "{\"t\":$(($(now_ms) - 4000000 + 1000 * i)),\"ec\":$((200 + i % 7)).3}"; done |
    mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a2 -l
wait_for 20 stored tank/a2 ec 3000 || fail "not stored"
[ $(($(counted) - before)) -gt 60000 ] || fail "3000 readings cost $(($(counted) - before)) bytes: are they on the disk?"
sleep 2.5
least=$(counted)
fresh_status 1
most=$(counted)
now=$(told)
[ "$now" -ge $((least * 95 / 100)) ] && [ "$now" -le "$most" ] || fail "told $now; the kernel counts $least to $most"
mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/status -C 1 -W 5 | contains '"disk_bytes_day":null' || fail "a day told after seconds"
stop_daemon
