#!/bin/bash
# The network cut in the middle of packets, both ways, again and again: every acknowledged message is stored once.
# FAULT_ROUNDS: how many cuts (5).
. "$(dirname "$0")/lib.sh"
rounds=${FAULT_ROUNDS:-5}
count=$((400 * rounds))
start_broker
real=$port
# Passes bytes on and cuts after a random number of them; tells how often it did.
cat >"$work/cutter.py" <<'PY'
import random, socket, sys, threading
listen, real, cuts, told = int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
random.seed(7)
server = socket.socket(); server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
server.bind(('127.0.0.1', listen)); server.listen(8)
done = 0
def pass_on(a, b, left):
    while True:
        try: data = a.recv(4096)
        except OSError: data = b''
        if left is not None:
            data = data[:max(left, 0)]; left -= len(data)
        try:
            if data: b.sendall(data)
        except OSError: data = b''
        if not data or (left is not None and left <= 0): break
    for s in (a, b):
        try: s.shutdown(socket.SHUT_RDWR)
        except OSError: pass
while True:
    near, _ = server.accept()
    far = socket.create_connection(('127.0.0.1', real))
    cut = done < cuts
    done += cut
    open(told, 'w').write(str(done))
    up = random.random() < 0.3
    # A cut after the session is taken up: in the stream of messages, or in that of acknowledgements.
    threading.Thread(target=pass_on, args=(far, near, random.randint(400, 9000) if cut and not up else None), daemon=True).start()
    threading.Thread(target=pass_on, args=(near, far, random.randint(300, 900) if cut and up else None), daemon=True).start()
PY
port=$((real + 1))
while listens $port; do port=$((port + 1)); done
python3 "$work/cutter.py" $port "$real" $rounds "$work/cuts" &
listeners+=($!)
wait_for 5 listens $port || fail "no cutter"
write_conf ""
sed -i 's/publish = {/publish = { homie = false;/' "$conf" # its connection would take some of the cuts
through=$port
port=$real
start_daemon
wait_for 30 online || fail "not online through the cutter"
begin=$(($(now_ms) - 3600000))
for ((i = 0; i < count; i++)); do
    echo "{\"t\":$((begin + i * 100)),\"ec\":$((100 + i)).5}"
    [ $((i % 50)) -ne 49 ] || sleep 0.1
done | mosquitto_pub -h 127.0.0.1 -p "$real" -q 1 -t docs/a1 -l || fail "the publisher failed"
# The broker keeps what it could not deliver: it comes with the next connection.
# and each try waits longer than the one before.
wait_for $((60 + 20 * rounds)) stored a1 ec $count || true
past a1 ec | cut -d, -f6 | sort -n >"$work/got"
seq 100 $((99 + count)) | sed 's/$/.5/' >"$work/wanted"
cmp -s "$work/got" "$work/wanted" ||
    fail "$(wc -l <"$work/got") rows, $(sort -u "$work/got" | wc -l) values, for $count messages; $(cat "$work/cuts") cuts, port $through"
cuts=$(cat "$work/cuts")
[ "$cuts" -ge 2 ] || fail "it was cut $cuts times only"
stop_daemon
figure "network cut in mid-packet" "$cuts" "messages $count, lost 0, twice 0"
