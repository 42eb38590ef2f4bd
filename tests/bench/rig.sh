# shellcheck shell=bash
# For scripts/bench: brokers, rooms, daemons and sums. Expects top, build, work, ring; ends what it started, by number.
pids=()

# shellcheck disable=SC2317 # the trap calls it
finish() {
    local status=$? i
    trap - EXIT INT TERM
    for ((i = ${#pids[@]} - 1; i >= 0; i--)); do
        kill "${pids[$i]}" 2>/dev/null && { wait "${pids[$i]}" 2>/dev/null || true; }
    done
    rm -rf "$work" "$ring"
    exit "$status"
}

listens() { (exec 3<>"/dev/tcp/127.0.0.1/$1") 2>/dev/null; }

# start_broker NAME: leaves its port in $port
start_broker() {
    for _ in 1 2 3 4 5 6; do
        port=$((20000 + RANDOM % 20000))
        listens "$port" && continue
        printf 'listener %d 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\n' "$port" >"$work/$1.mosquitto"
        mosquitto -c "$work/$1.mosquitto" </dev/null >"$work/$1.broker" 2>&1 &
        pids+=($!)
        for _ in {1..50}; do
            listens "$port" && return
            sleep 0.1
        done
    done
    echo "scripts/bench: no broker" >&2
    exit 3
}

# write_conf NAME PORT TANKS EXTRA_TANKS QUANTITY...: the room; extra tanks are those whose alerts are waited for.
write_conf() {
    local name=$1 at=$2 tanks=$3 extra=$4 i quantity
    shift 4
    {
        cat <<CONF
site = { id = "$name"; };
broker = { host = "127.0.0.1"; port = $at; client_id = "lentic-$name"; };
store = { path = "$work/$name.db"; runtime_dir = "$ring/$name"; };
publish = { base = "lentic/$name"; homie = $homie; ${publish_more:-} };
stocks = ( { id = "shrimp"; temp = [20.0, 24.0]; ec = [200.0, 600.0]; ph = [6.0, 7.5]; } );
waters = ( { id = "soft"; ec = 300.0; ph = 6.8; temp = 22.0; } );
alerts = ( { kind = "temp-low"; on_delay_s = 0; off_delay_s = 0; } );
tanks = (
CONF
        for ((i = 0; i < tanks; i++)); do
            printf '  { id = "t%02d"; volume_l = 30.0; stock = "shrimp"; water = "soft"; heater_w = 25.0; setpoint = 22.0; },\n' $i
        done
        for ((i = 0; i < extra; i++)); do
            printf '  { id = "e%02d"; volume_l = 30.0; temp = [20.0, 24.0]; }, { id = "l%02d"; volume_l = 30.0; temp = [20.0, 24.0]; },\n' $i $i
        done
        printf '  { id = "last"; volume_l = 30.0; }\n);\nprobes = (\n'
        for quantity in "$@"; do
            printf '  { topic = "bench/{tank}/%s"; time = "/t"; time_form = "ms"; every_s = 20; values = ( { at = "/v"; measures = "%s";\n' "$quantity" "$quantity"
            printf '      quality = { spike_suspect = "off"; spike_fail = "off"; }; } ); }%s\n' "$([ "$quantity" = "${*: -1}" ] || echo ,)"
        done
        printf ');\n'
    } >"$work/$name.conf"
    "$build/lentic" check "$work/$name.conf" >"$work/check.log" || { cat "$work/check.log" >&2; exit 2; }
}

# launch NAME: leaves its number in $daemon and the milliseconds until it watches in $launch_ms
launch() {
    local begin
    : >"$work/$1.log"
    begin=$(date +%s%N)
    "$build/lenticd" --conf "$work/$1.conf" </dev/null >"$work/$1.log" 2>&1 &
    daemon=$!
    pids+=("$daemon")
    for _ in {1..6000}; do
        if grep -q ' watches ' "$work/$1.log"; then
            launch_ms=$((($(date +%s%N) - begin) / 1000000))
            return
        fi
        kill -0 "$daemon" 2>/dev/null || break
        sleep 0.01
    done
    cat "$work/$1.log" >&2
    exit 3
}

# start_daemon NAME PORT: launched, and the broker reached
start_daemon() {
    launch "$1"
    for _ in {1..100}; do
        mosquitto_sub -h 127.0.0.1 -p "$2" -t "lentic/$1/status" -C 1 -W 1 2>/dev/null | grep -q online && return
        sleep 0.1
    done
    cat "$work/$1.log" >&2
    exit 3
}

stop_daemon() {
    kill "$daemon"
    wait "$daemon" || true
}

cpu_ms() { awk -v hz="$(getconf CLK_TCK)" '{ sub(/.*\) /, ""); print ($12 + $13) * 1000 / hz }' "/proc/$1/stat"; }
# wait_rest PID: until the work of the start is done
wait_rest() {
    local last
    for _ in {1..120}; do
        last=$(cpu_ms "$1")
        sleep 1
        [ "$(cpu_ms "$1")" -gt $((last + 30)) ] || return 0
    done
}
written() { awk '/^write_bytes/ { w = $2 } /^cancelled/ { c = $2 } END { print w - c }' "/proc/$1/io"; }
resident() { awk '/^VmRSS/ { printf "%.1f", $2 / 1024 }' "/proc/$1/status"; }
wakes() { awk '/^voluntary/ { n += $2 } END { print n }' "/proc/$1"/task/*/status; }
median() { tr ' ' '\n' | sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'; }
sum() { awk "BEGIN { print $* }"; }
now_ms() { date +%s%3N; }

# row TEXT VALUE [GOAL CONDITION]: an awk expression that holds when the goal is met
row() {
    local met=''
    [ $# -lt 4 ] || { [ "$(awk "BEGIN { print ($4) ? 1 : 0 }")" = 1 ] && met=yes || met=no; }
    printf '%-72s %-26s %-14s %s\n' "$1" "$2" "${3:-}" "$met"
}
