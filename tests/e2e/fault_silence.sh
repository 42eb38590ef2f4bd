#!/bin/bash
# A link that swallows what the service says, before anybody notices that it is dead: the end of an alert goes into it, and
# the broker, which forgets nothing, must not show the alert for ever.
. "$(dirname "$0")/lib.sh"
start_broker
real=$port
cat >"$work/swallower.py" <<'PY'
import os, socket, sys, threading
listen, real, flag = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
server = socket.socket()
server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
server.bind(("127.0.0.1", listen))
server.listen(8)
def pass_on(a, b, swallows):
    while True:
        try: data = a.recv(4096)
        except OSError: data = b""
        if not data: break
        if swallows and os.path.exists(flag): continue
        try: b.sendall(data)
        except OSError: break
    for s in (a, b):
        try: s.shutdown(socket.SHUT_RDWR)
        except OSError: pass
while True:
    near, _ = server.accept()
    if os.path.exists(flag):
        near.close()
        continue
    far = socket.create_connection(("127.0.0.1", real))
    threading.Thread(target=pass_on, args=(near, far, True), daemon=True).start()
    threading.Thread(target=pass_on, args=(far, near, False), daemon=True).start()
PY
through=$((real + 1))
while listens $through; do through=$((through + 1)); done
python3 "$work/swallower.py" $through "$real" "$work/swallow" &
listeners+=($!)
wait_for 5 listens $through || fail "no swallower"
write_conf ""
sed -i "s/port = $real;/port = $through; keepalive_s = 5;/" "$conf"
start_daemon_online
alert=$base/alert/tank/a1/temp-low
shown='homie/5/millrace-tank-a1/$alert/temp-low'
stands() { mosquitto_sub -h 127.0.0.1 -p "$port" -t "$1" -C 1 -W 1 2>/dev/null | contains .; }
gone() { ! stands "$1"; }
pub probes/a1/temp 18.0
wait_for 15 stands "$alert" || fail "no alert"
wait_for 15 stands "$shown" || fail "no alert in the Homie tree"
pub $base/do/ack '{"tank":"a1","kind":"temp-low"}'
sleep 0.5
hear heard "$base/event" 'homie/5/millrace/$state'

touch "$work/swallow"
pub probes/a1/temp 22.5
wait_for 30 grep -q 'Homie: .*lost' "$work/daemon.log" || fail "it never noticed"
stored a1 temp 2 || wait_for 10 stored a1 temp 2 || fail "the reading did not come through: $(past a1 temp)"
heard heard '"clear"' && fail "nothing was swallowed"
stands "$alert" && stands "$shown" || fail "the broker forgot it by itself: nothing is tested"

rm "$work/swallow"
must_hear heard 'state 0 ready' 60
wait_for 20 gone "$alert" || fail "$alert stands for ever"
wait_for 20 gone "$shown" || fail "$shown stands for ever"
stop_daemon
