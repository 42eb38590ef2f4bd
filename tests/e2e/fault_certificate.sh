#!/bin/bash
# The broker's certificate has ended: the reason is told in plain words; renewed, the service connects by itself.
. "$(dirname "$0")/lib.sh"
command -v openssl >/dev/null || { echo "no openssl here"; exit 77; }
cd "$work"
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30 -subj /CN=ca -keyout ca.key -out ca.pem 2>/dev/null
openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN=127.0.0.1 -keyout broker.key -out broker.csr 2>/dev/null
mkdir -p ca && : >ca/index.txt && echo 01 >ca/serial
printf '[ca]\ndefault_ca=x\n[x]\ndatabase=ca/index.txt\nserial=ca/serial\nnew_certs_dir=ca\ndefault_md=sha256\npolicy=p\ncopy_extensions=none\nx509_extensions=e\nunique_subject=no\n[p]\ncommonName=supplied\n[e]\nsubjectAltName=IP:127.0.0.1\n' >ca.conf
sign() { openssl ca -batch -config ca.conf -cert ca.pem -keyfile ca.key -in broker.csr -out broker.pem -startdate "$1" -enddate "$2" -notext 2>/dev/null; }
sign 20200101000000Z 20200201000000Z || fail "cannot make an ended certificate"
chmod 644 broker.key
port=$((20000 + RANDOM % 20000))
printf 'listener %d 127.0.0.1\nallow_anonymous true\ncafile %s\ncertfile %s\nkeyfile %s\n' "$port" "$work/ca.pem" "$work/broker.pem" "$work/broker.key" >tls.conf
[ "$(id -u)" -ne 0 ] || echo 'user root' >>tls.conf
mosquitto -c tls.conf >broker.out 2>&1 &
broker=$!
wait_for 5 listens "$port" || fail "no broker with TLS: $(cat broker.out)"
write_conf ""
sed -i "s#^broker = {#broker = { tls = true; ca_file = \"$work/ca.pem\";#" "$conf"
start_daemon
said() { grep -qiE 'certificate.*(expired|ended|not valid|verify)|expired' "$work/daemon.log"; }
wait_for 20 said || fail "the reason is not told"
kill -0 "$daemon" || fail "the daemon ended over it"
sign "$(date -u -d '1 day ago' +%Y%m%d%H%M%SZ)" "$(date -u -d '20 days' +%Y%m%d%H%M%SZ)" || fail "cannot renew"
kill -HUP "$broker"
# Some versions read a new certificate only at a start.
kill "$broker"
wait "$broker" || true
mosquitto -c tls.conf >>broker.out 2>&1 &
broker=$!
at=$(now_ms)
up() { mosquitto_sub -h 127.0.0.1 -p "$port" --cafile "$work/ca.pem" -t $base/status -C 1 -W 2 2>/dev/null | contains '"state":"online"'; }
wait_for 90 up || fail "not connected after the certificate was renewed"
took=$((($(now_ms) - at) / 1000))
stop_daemon
figure "certificate ended and renewed" "$took" "s from the renewed certificate to online, without a restart"
