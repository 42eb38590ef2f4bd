#!/bin/bash
# With tls = true and nothing else said: an authority that is not known and a certificate of another name are refused, with the
# reason; nothing older than TLS 1.2 is spoken.
. "$(dirname "$0")/lib.sh"
command -v openssl >/dev/null || { echo "no openssl here"; exit 77; }
cd "$work"
certificate() { # NAME SUBJECT_ALT_NAME
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30 -subj "/CN=$1" -addext "subjectAltName=$2" \
        -keyout "$1.key" -out "$1.pem" 2>/dev/null || fail "no certificate"
    chmod 644 "$1.key"
}
certificate right IP:127.0.0.1
certificate other DNS:elsewhere.example
broker_with() { # CERTIFICATE
    printf 'listener %d 127.0.0.1\nallow_anonymous true\ncertfile %s\nkeyfile %s\n' "$port" "$work/$1.pem" "$work/$1.key" >tls.conf
    [ "$(id -u)" -ne 0 ] || echo 'user root' >>tls.conf
    mosquitto -c tls.conf </dev/null >>broker.out 2>&1 &
    broker=$!
    wait_for 5 listens "$port" || fail "no broker with TLS: $(cat broker.out)"
}
port=$((20000 + RANDOM % 20000))
says() { # PATTERN: within some seconds, and was not connected
    said() { grep -qE -- "$1" daemon.log; }
    wait_for 15 said "$1" || fail "not told: $1: $(cat daemon.log)"
    ! grep -q 'broker reached' daemon.log || fail "connected all the same"
    kill -TERM "$daemon"
    wait "$daemon" || fail "did not end well"
    daemon=''
    mv daemon.log "daemon-$SECONDS.log"
}

broker_with right
write_conf ""
sed -i 's#^broker = {#broker = { tls = true;#' "$conf"
start_daemon
says 'certificate verify failed'
sed -i "s#tls = true;#tls = true; ca_file = \"$work/right.pem\";#" "$conf"
start_daemon
up() { mosquitto_sub -h 127.0.0.1 -p "$port" --cafile right.pem -t $base/status -C 1 -W 2 2>/dev/null | contains '"state":"online"'; }
wait_for 20 up || fail "not connected with the authority named: $(cat daemon.log)"
stop_daemon
rm daemon.log
stop_broker
broker_with other
sed -i "s#right.pem#other.pem#" "$conf"
start_daemon
says 'another name|certificate verify failed'
stop_broker

mkfifo quiet
# A server that speaks one version only. negotiated OPTION: does a connection come about?
negotiated() {
    openssl s_server -accept "127.0.0.1:$port" -cert right.pem -key right.key "$1" -cipher 'ALL:@SECLEVEL=0' <>quiet >server.out 2>&1 &
    local server=$! was=0
    listeners+=($server)
    wait_for 5 listens "$port" || fail "no server with $1"
    start_daemon
    spoke() { grep -q 'broker not reached' daemon.log; }
    wait_for 15 spoke || fail "nothing came of $1: $(cat daemon.log server.out)"
    grep -q '^CIPHER is' server.out || was=1
    kill -TERM "$daemon"
    wait "$daemon" || fail "did not end well"
    daemon=''
    # Another client, which knows no limit, shows that the server does speak it.
    timeout 5 openssl s_client -connect "127.0.0.1:$port" "$1" -cipher 'ALL:@SECLEVEL=0' </dev/null >/dev/null 2>&1 || true
    grep -q '^CIPHER is' server.out || fail "this server speaks nothing with $1: $(cat server.out)"
    kill $server
    wait $server 2>/dev/null || true
    rm -f daemon.log
    return $was
}
sed -i "s#other.pem#right.pem#" "$conf"
negotiated -tls1_2 || fail "TLS 1.2 is not spoken: $(cat server.out)"
! negotiated -tls1_1 || fail "TLS 1.1 is spoken: $(cat server.out)"
! negotiated -tls1 || fail "TLS 1.0 is spoken: $(cat server.out)"
