#!/bin/bash
# Ten thousand messages of rubbish a second on one topic, and a new topic with each message: readings and alerts of the others
# stay on time, memory stays bounded, the log tells once. FAULT_ROUNDS: thousands of messages (60).
. "$(dirname "$0")/lib.sh"
thousands=${FAULT_ROUNDS:-60}
start_broker
write_conf ""
start_daemon_online
rss_kib() { awk '/VmRSS/ { print $2 }' "/proc/$daemon/status"; }
hear heard "$base/alert/#"
for ((i = 0; i < 1000; i++)); do echo 22.5; done | mosquitto_pub -h 127.0.0.1 -p "$port" -t probes/a1/temp -l
sleep 1
before=$(rss_kib)

for ((block = 0; block < thousands; block++)); do
    awk -v block=$block 'BEGIN { for (i = 0; i < 1000; i++) print "???rubbish " block * 1000 + i }'
    sleep 0.09
done | mosquitto_pub -h 127.0.0.1 -p "$port" -t probes/a2/temp -l &
flood=$!
begin=$(now_ms)
worst=0 rounds=0
while kill -0 $flood 2>/dev/null || [ $rounds -lt 3 ]; do
    # One alert up and down each round, timed from publishing to hearing, mosquitto_pub's own start included.
    at=$(now_ms)
    pub probes/a1/temp 18.0
    must_hear heard '^[^ ]*/temp-low [01] .*UNACK' 10
    took=$(($(now_ms) - at))
    [ $took -le $worst ] || worst=$took
    pub probes/a1/temp 22.5
    must_hear heard '^[^ ]*/temp-low [01] .*RTNUN' 10
    : >"$work/heard"
    rounds=$((rounds + 1))
done
wait $flood
spent=$(($(now_ms) - begin))
[ $worst -lt 2000 ] || fail "an alert took $worst ms under rubbish"
[ "$(grep -c 'rubbish' "$work/daemon.log")" -le 20 ] || fail "the log repeats itself: $(grep -c rubbish "$work/daemon.log") lines"
figure "rubbish on one topic" "$((thousands * 1000 * 1000 / (spent + 1)))" "messages a second; worst of $rounds alerts beside it $worst ms"

python3 - "$thousands" <<'PY' >"$work/topics"
import sys
for i in range(int(sys.argv[1]) * 250):
    print(f'probes/x{i}/temp')
PY
# mosquitto_pub knows one topic a run: a small client of its own.
cat >"$work/topics.py" <<'PY'
import socket, sys
s = socket.create_connection(('127.0.0.1', int(sys.argv[1])))
s.sendall(b'\x10\x11\x00\x04MQTT\x04\x02\x00\x3c\x00\x05flood'); s.recv(4)
out = bytearray()
for line in open(sys.argv[2]):
    topic = line.strip().encode()
    body = len(topic).to_bytes(2, 'big') + topic + b'24.5'
    out += b'\x30' + bytes([len(body)]) + body
    if len(out) > 60000:
        s.sendall(out); out.clear()
s.sendall(out); s.sendall(b'\xe0\x00'); s.close()
PY
python3 "$work/topics.py" "$port" "$work/topics"
pub probes/a1/temp 18.0
must_hear heard '^[^ ]*/temp-low [01] .*UNACK' 20
after=$(rss_kib)
sanitized || [ $((after - before)) -lt 8192 ] || fail "memory grew from $before to $after KiB"
figure "a new topic with each message" "$(wc -l <"$work/topics")" "topics; memory $before KiB before, $after KiB after"
stop_daemon
