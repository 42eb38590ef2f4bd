#!/bin/bash
# A disk on which every sync takes three seconds: neither alerts nor intake wait for it.
. "$(dirname "$0")/lib.sh"
command -v gcc >/dev/null || { echo "no gcc here"; exit 77; }
! sanitized || { echo "a preloaded library and the sanitizer do not go together"; exit 77; }
cat >"$work/slow.c" <<'C'
#include <stdlib.h>
#include <time.h>
#include <unistd.h>
static int slow(void)
{
    const struct timespec t = { 3, 0 };
    return access(getenv("SLOW_DISK"), F_OK) == 0 ? nanosleep(&t, 0) : 0;
}
int fsync(int fd) { (void)fd; return slow(); }
int fdatasync(int fd) { (void)fd; return slow(); }
C
gcc -shared -fPIC -o "$work/slow.so" "$work/slow.c"
start_broker
write_conf ""
SLOW_DISK=$work/slow LD_PRELOAD=$work/slow.so "$lenticd" --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
daemon=$!
wait_for 40 online || fail "not online"
hear heard "$base/alert/#"
touch "$work/slow"
worst=0
# By the new state and no other: what came before does not count.
alert_within() { # VALUE STATE
    local at took
    : >"$work/heard"
    at=$(now_ms)
    pub probes/a1/temp "$1"
    must_hear heard "^[^ ]*/temp-low [01] .*$2" 30
    took=$(($(now_ms) - at))
    [ $took -le $worst ] || worst=$took
}
for i in 1 2 3 4 5; do
    alert_within "18.$i" '"state":"UNACK"'
    alert_within "22.$i" '"state":"RTNUN"'
done
[ $worst -lt 2000 ] || fail "an alert waited $worst ms for a disk whose syncs take 3000"
wait_for 10 stored a1 temp 10 || fail "not ten readings"
rm "$work/slow"
kill -TERM "$daemon"
wait "$daemon" || fail "it did not end well"
daemon=''
figure "a sync takes 3 s" "$worst" "ms for the worst of 10 alerts; 10 of 10 readings stored meanwhile"
