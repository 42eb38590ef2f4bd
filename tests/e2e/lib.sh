# shellcheck shell=bash
# For the cases in this folder: a mosquitto on a free loopback port, the daemon, a folder of their own; whatever was
# started is ended by its process number. LENTIC_BIN is the build directory.
set -euo pipefail
PATH=$PATH:/usr/sbin:/sbin
lentic=${LENTIC_BIN:?}/lentic
lenticd=$LENTIC_BIN/lenticd
work=$(mktemp -d)
conf=$work/site.conf
base=lentic/millrace
port='' broker='' daemon='' watcher=''
listeners=()

for need in mosquitto mosquitto_pub mosquitto_sub; do
    command -v $need >/dev/null || { echo "$need is not here"; exit 77; }
done

fail() {
    echo "FAILED: $*"
    exit 1
}

# shellcheck disable=SC2317 # the trap calls it
finish() {
    local status=$?
    trap - EXIT
    set +e
    for pid in "${listeners[@]}" $daemon $broker $watcher; do
        kill "$pid" 2>/dev/null
        wait "$pid" 2>/dev/null
    done
    if grep -qE 'AddressSanitizer|LeakSanitizer|ThreadSanitizer|runtime error:' "$work"/*.log 2>/dev/null; then
        echo "FAILED: a sanitizer spoke"
        status=1
    fi
    if [ $status -ne 0 ] && [ $status -ne 77 ]; then
        for file in "$work"/daemon.log "$work"/heard; do
            [ -s "$file" ] && { echo "--- $(basename "$file"), the last lines"; tail -30 "$file" | cut -c1-400; }
        done
    fi
    rm -rf "$work"
    exit $status
}
trap finish EXIT

# Under CTest: a case that hangs tells where before it is ended from outside.
if [ -n "${LENTIC_CASE_S:-}" ]; then
    mkfifo "$work/never"
    (
        trap - EXIT
        read -rt "$LENTIC_CASE_S" <>"$work/never" || true
        echo "FAILED: hangs; what runs is"
        ps -o pid,stat,etimes,args --ppid $$ | cut -c1-200
        while read -r pid name; do
            [ "$name" != lenticd ] || ! command -v gdb >/dev/null ||
                gdb -p "$pid" -batch -ex 'thread apply all bt 12' 2>/dev/null | grep -E '^(#|Thread)'
            [ "$pid" = "$BASHPID" ] || kill "$pid"
        done < <(ps -o pid=,comm= --ppid $$)
        kill $$
    ) &
    watcher=$!
fi

# contains PATTERN, after a pipe: reads to the end. grep -q leaves early, and what still writes then dies of SIGPIPE, which
# pipefail takes for the answer.
contains() { [ -n "$(grep "$@")" ]; }

# A sanitizer keeps freed memory for itself, and wants to be the first library loaded.
sanitized() { ldd "$lenticd" | contains 'lib[at]san'; }

# figure WHAT NUMBER WORDS: what scripts/faults puts into its table
figure() { echo "figure|$1|$2|${*:3}"; }

# wait_for SECONDS COMMAND...: until it succeeds
wait_for() {
    local end=$((SECONDS + $1 + 1))
    shift
    until "$@" >/dev/null 2>&1; do
        [ $SECONDS -lt $end ] || return 1
        sleep 0.05
    done
}

listens() { (exec 3<>"/dev/tcp/127.0.0.1/$1") 2>/dev/null; }

# On the port of before, when there was one. persist=yes: it keeps its memory in $work over a restart.
start_broker() {
    local chosen=$port
    for _ in 1 2 3 4 5 6; do
        port=${chosen:-$((20000 + RANDOM % 20000))}
        if [ -z "$chosen" ] && listens "$port"; then
            continue
        fi
        printf 'listener %d 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n' "$port" >"$work/broker.conf"
        if [ -n "${persist:-}" ]; then
            printf 'persistence true\npersistence_location %s/\n' "$work" >>"$work/broker.conf"
            [ "$(id -u)" -ne 0 ] || echo 'user root' >>"$work/broker.conf"
        fi
        mosquitto -c "$work/broker.conf" </dev/null >>"$work/broker.out" 2>&1 &
        broker=$!
        if wait_for 5 listens "$port" && kill -0 $broker 2>/dev/null; then
            return
        fi
        kill "$broker" 2>/dev/null || true
        wait "$broker" 2>/dev/null || true
        broker=''
    done
    fail "no broker"
}

stop_broker() {
    kill "$broker"
    wait "$broker" || true
    broker=''
}

kill_broker() {
    kill -KILL "$broker"
    wait "$broker" 2>/dev/null || true
    broker=''
}

# A tank a1 in a band of 20 to 24 °C whose alert acts on the very message; $1: more configuration, $2: more for tank a1,
# $3: more probe entries (with a comma before each).
# shellcheck disable=SC2120 # arguments are optional
write_conf() {
    cat >"$conf" <<CONF
site = { id = "millrace"; name = "Millrace"; };
broker = { host = "127.0.0.1"; port = $port; };
store = { path = "$work/lentic.db"; runtime_dir = "$work/run"; commit_s = 1; };
publish = { tank_every_s = 2; tank_least_s = 0.2; };
tanks = ( { id = "a1"; name = "Crystals"; volume_l = 30.0; temp = [20.0, 24.0]; ${2:-} },
          { id = "a2"; name = "Tigers"; volume_l = 45.0; } );
probes = (
  { topic = "probes/{tank}/temp"; measures = "temp"; unit = "Cel"; missing = [85.0, -127.0];
    quality = { spike_suspect = "off"; spike_fail = "off"; }; },
  { topic = "docs/{tank}"; time = "/t"; time_form = "ms";
    values = ( { at = "/ec"; measures = "ec"; unit = "uS/cm"; quality = { spike_suspect = "off"; spike_fail = "off"; }; } ); }
  ${3:-}
);
alerts = ( { kind = "temp-low"; on_delay_s = 0; off_delay_s = 0; } );
${1:-}
CONF
}

online() {
    mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/status -C 1 -W 1 2>/dev/null | contains '"state":"online"'
}

start_daemon() {
    "$lenticd" --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
    daemon=$!
}

# set_time OFF_MS SPEED: how far the daemon's wall clock is off, and how many times faster its time goes
set_time() { python3 -c 'import struct,sys; open(sys.argv[1], "r+b").write(struct.pack("<qq", int(sys.argv[2]), int(sys.argv[3])))' "$work/time" "$1" "$2"; }

# start_timed: the daemon with a clock of its own (time.c)
launch_timed() {
    TIME_FILE=$work/time LD_PRELOAD=$work/time.so "$lenticd" --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
    daemon=$!
}
start_timed() {
    launch_timed
    wait_for 20 online || fail "the daemon did not come online"
}

# With the certificate and key in $work/broker.pem and broker.key; what it says stands in $work/broker.out.
start_tls_broker() {
    port=$((20000 + RANDOM % 20000))
    printf 'listener %d 127.0.0.1\nallow_anonymous true\ncertfile %s\nkeyfile %s\n' "$port" "$work/broker.pem" "$work/broker.key" >"$work/tls.conf"
    [ "$(id -u)" -ne 0 ] || echo 'user root' >>"$work/tls.conf"
    mosquitto -c "$work/tls.conf" </dev/null >>"$work/broker.out" 2>&1 &
    broker=$!
    wait_for 5 listens "$port" || fail "no broker with TLS: $(cat "$work/broker.out")"
}

make_time() {
    command -v gcc >/dev/null || { echo "no gcc here"; exit 77; }
    ! sanitized || { echo "a preloaded library and a sanitizer do not go together"; exit 77; }
    gcc -O1 -shared -fPIC -o "$work/time.so" "$(dirname "${BASH_SOURCE[0]}")/time.c" || fail "time.c does not build"
    : >"$work/time"
    set_time 0 1
}

# query SQL: the rows of the store, a line each, columns divided by |
query() {
    python3 - "$work/lentic.db" "$1" <<'PY'
import sqlite3, sys
for row in sqlite3.connect(f'file:{sys.argv[1]}?mode=ro', uri=True).execute(sys.argv[2]): print(*row, sep='|')
PY
}

start_daemon_online() {
    start_daemon
    wait_for 20 online || fail "the daemon did not come online"
    kill -0 $daemon || fail "the daemon ended"
}

stop_daemon() {
    local status=0
    kill -TERM "$daemon" || fail "the daemon was gone"
    wait "$daemon" || status=$?
    daemon=''
    [ $status -eq 0 ] || fail "the daemon ended with $status"
}

kill_daemon() {
    kill -KILL "$daemon" || fail "the daemon was gone"
    wait "$daemon" 2>/dev/null || true
    daemon=''
}

# hear FILE TOPIC...: lines "topic retain payload" from now on
hear() {
    local file=$1 topics=() topic
    shift
    for topic in "$@"; do topics+=(-t "$topic"); done
    : >"$work/$file"
    mosquitto_sub -h 127.0.0.1 -p "$port" -q 1 "${topics[@]}" -t "ready/$file" -F '%t %r %p' </dev/null >>"$work/$file" 2>/dev/null &
    listeners+=($!)
    local end=$((SECONDS + 20))
    until grep -q "^ready/$file" "$work/$file"; do
        [ $SECONDS -lt $end ] || fail "nothing is heard in $file; $(ps -o pid=,stat=,args= -p "${listeners[-1]}" || echo it ended)"
        mosquitto_pub -h 127.0.0.1 -p "$port" -t "ready/$file" -m 1
        sleep 0.1
    done
}

# pub TOPIC PAYLOAD [OPTION...]
pub() {
    local topic=$1 payload=$2
    shift 2
    mosquitto_pub -h 127.0.0.1 -p "$port" -q 1 -t "$topic" -m "$payload" "$@"
}

heard() { grep -qE -- "$2" "$work/$1"; }
heard_times() { grep -cE -- "$2" "$work/$1" || true; }

# must_hear FILE PATTERN [SECONDS]
must_hear() { wait_for "${3:-15}" heard "$1" "$2" || fail "nothing like $2 was heard in $1"; }

# past PLACE QUANTITY: its readings as CSV without the head
past() { "$lentic" past --conf "$conf" --days 2 --csv "$1" "$2" 2>/dev/null | tail -n +2; }
stored() { [ "$(past "$1" "$2" | wc -l)" -eq "$3" ]; }
now_ms() { date +%s%3N; }

# Has a status that was made after this call; prints its counters.
counter() { mosquitto_sub -h 127.0.0.1 -p "$port" -t $base/status -C 1 -W 5 | sed -nE "s/.*\"$1\":([0-9]+).*/\1/p"; }
fresh_status() {
    hear "status$1" $base/status
    kill -HUP "$daemon"
    must_hear "status$1" "^$base/status 0 .*online"
}
