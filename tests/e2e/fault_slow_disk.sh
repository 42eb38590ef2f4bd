#!/bin/bash
# A disk on which every sync takes two seconds: alerts and intake do not wait for it.
. "$(dirname "$0")/lib.sh"
command -v gcc >/dev/null || { echo "no gcc here"; exit 77; }
! sanitized || { echo "a preloaded library and the sanitizer do not go together"; exit 77; }
cat >"$work/slow.c" <<'C'
#include <time.h>
static int slow(void)
{
    const struct timespec t = { 2, 0 };
    return nanosleep(&t, 0);
}
int fsync(int fd) { (void)fd; slow(); return 0; }
int fdatasync(int fd) { (void)fd; slow(); return 0; }
C
gcc -shared -fPIC -o "$work/slow.so" "$work/slow.c"
start_broker
write_conf ""
LD_PRELOAD=$work/slow.so "$lenticd" --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
daemon=$!
wait_for 40 online || fail "not online on a slow disk"
hear heard "$base/alert/#"
worst=0
for ((i = 0; i < 5; i++)); do
    at=$(now_ms)
    pub probes/a1/temp 18.0
    must_hear heard '^[^ ]*/temp-low [01] .*UNACK' 30
    took=$(($(now_ms) - at))
    [ $took -le $worst ] || worst=$took
    pub probes/a1/temp 22.5
    must_hear heard '^[^ ]*/temp-low [01] .*RTNUN' 30
    : >"$work/heard"
done
kill -TERM "$daemon"
wait "$daemon" || fail "it did not end well"
daemon=''
wait_for 5 stored a1 temp 10 || fail "not ten readings"
figure "a sync takes 2 s" "$worst" "ms for the worst of 5 alerts; 10 of 10 readings stored"
