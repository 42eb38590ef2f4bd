#!/bin/bash
# Nothing that a probe can send stops or confuses the daemon; what was refused is counted.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf ""
start_daemon_online
hear heard "$base/#"
pub probes/a1/temp 22.0
must_hear heard "^$base/tank/a1 .*22.00"

bad=0
for payload in '???' '24,5' '3.0abc' '0x1F' '1e999' '--5' '1 2' 'NaNa' '{"temp":22}' '[22]' '<b>22</b>' '22.0.1' \
    'Infinity' '٢٢' "'22'" '"22"' '1e' '+-1'; do
    pub probes/a1/temp "$payload"
    bad=$((bad + 1))
done
missing=0
for payload in nan unavailable null 85 -127.0 ''; do
    if [ -n "$payload" ]; then pub probes/a1/temp "$payload"; else mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -n; fi
    missing=$((missing + 1))
    sleep 0.15 # the library may nap 100 ms: what comes in one clump has one time, and of those the first counts
done
# Bytes that are no text, far too much, far too deep.
head -c 300 /dev/urandom | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -s
printf '22\0003' | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -s
head -c 2000000 /dev/zero | tr '\0' 7 | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t probes/a1/temp -s
printf '%0.s[' {1..5000} | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t docs/a1 -s
bad=$((bad + 4))
t=$(now_ms)
for payload in '{' '{}' 'null' '[]' '{"t":"yesterday","ec":5}' '{"t":1,"ec":"x"}' '{"ec":1,"ec":2}' '{"t":'"$t"',"ec":{"v":1}}' \
    '{"t":'"$t"',"ec":NaN}' '{"t":1e400,"ec":5}' '{"t":'"$t"',"ec":1e300}' "{\"t\":$t,\"ec\":-4}" '{"t":99999999999999999,"ec":300}'; do
    pub docs/a1 "$payload"
done
pub probes/nobody/temp 22.0
pub probes//temp 22.0
for payload in '' 'x' '[]' '{"id":5}' '{"id":"tank/a1/none"}' '{"who":"\u0000"}' '{"minutes":1e99,"id":"tank/a1/temp-low"}'; do
    pub $base/do/shelve "${payload:- }"
    pub $base/do/nonsense "${payload:- }"
done
head -c 500 /dev/urandom | mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t $base/do/ack -s

kill -0 "$daemon" || fail "the daemon ended"
pub probes/a1/temp 22.75
must_hear heard "^$base/tank/a1 .*\"temp\":\{\"value\":22.75"
past a1 temp | cut -d, -f5 | grep -vE '^(22|22.75|)$' && fail "a value out of rubbish: $(past a1 temp)"
heard heard "^$base/event .*temp-low" && fail "rubbish raised a temperature alert"
fresh_status 1
rejected=$(counter rejected) gone=$(counter missing)
[ "$rejected" -ge "$bad" ] || fail "$rejected counted as rejected, $bad were sent"
[ "$gone" -ge "$missing" ] || fail "$gone counted as missing, $missing were sent"
[ "$(counter commands_refused)" -ge 14 ] || fail "refused commands: $(counter commands_refused)"
lines=$(wc -l <"$work/daemon.log")
[ "$lines" -lt 40 ] || fail "$lines lines in the log: rubbish must not fill it"
stop_daemon
