#!/bin/bash
# The disk is full, then read-only at the start, while water goes wrong: alerts still come, the store takes up its work by itself when
# there is room again, and what waited is stored. Needs a small file system of its own: a user namespace.
. "$(dirname "$0")/lib.sh"
unshare -rm true 2>/dev/null || { echo "no user namespaces here"; exit 77; }
start_broker
mkdir "$work/disk" "$work/pipe"
write_conf ""
sed -i "s#path = \"$work/lentic.db\"#path = \"$work/disk/lentic.db\"#" "$conf"
sed -i 's/^alerts = (/alerts = ( { kind = "store-failing"; on_delay_s = 1; off_delay_s = 1; },/' "$conf"

# In a namespace of its own: the daemon, and a hand that fills, empties and locks the disk on request.
cat >"$work/inside.sh" <<IN
set -u
mount -t tmpfs -o size=3m tmpfs "$work/disk" || exit 77
"$lenticd" --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
daemon=\$!
trap 'kill \$daemon 2>/dev/null; wait \$daemon; exit' TERM
while true; do
    for order in fill empty lock unlock look; do
        [ -e "$work/pipe/\$order" ] || continue
        rm "$work/pipe/\$order"
        case \$order in
        fill) dd if=/dev/zero of="$work/disk/filling" bs=1k 2>/dev/null ;;
        empty) rm -f "$work/disk/filling" ;;
        lock) # a file that is open for writing forbids it: the service starts again on a disk that is read-only
            kill \$daemon
            wait \$daemon
            mount -o remount,ro "$work/disk"
            "$lenticd" --conf "$conf" </dev/null >>"$work/daemon.log" 2>&1 &
            daemon=\$!
            ;;
        unlock) mount -o remount,rw,size=3m "$work/disk" ;;
        look) "$lentic" export --store "$work/disk/lentic.db" --days 2 >"$work/rows" 2>/dev/null ;;
        esac
        touch "$work/pipe/\$order.done"
    done
    sleep 0.05
done
IN
unshare -rm bash "$work/inside.sh" &
inside=$!
listeners+=($inside)
order() {
    rm -f "$work/pipe/$1.done"
    touch "$work/pipe/$1"
    wait_for 10 test -e "$work/pipe/$1.done" || fail "$1 was not done"
}
wait_for 20 online || fail "not online on a small disk"
rows() { order look; grep -c ',temp,' "$work/rows" || true; }
hear heard "$base/#"

wrong() { # NAME
    pub probes/a1/temp 18.0
    must_hear heard "^$base/alert/tank/a1/temp-low .*UNACK" 10
    must_hear heard "^$base/alert/lentic/store-failing .*UNACK" 40
    for i in 1 2 3 4 5; do
        pub probes/a1/temp 18.$i
        sleep 0.1
    done
    pub probes/a1/temp 23.0
    must_hear heard "^$base/alert/tank/a1/temp-low .*RTNUN" 10
}
before=$(rows)
order fill
wrong full
[ "$(rows)" -le $((before + 1)) ] || fail "the disk was not full"
order empty
at_least() { [ "$(rows)" -ge "$1" ]; }
wait_for 60 at_least $((before + 7)) || fail "not stored after there was room again: $(rows)"
must_hear heard "^$base/alert/lentic/store-failing .*(RTNUN|NORM)" 60
full=$(($(rows) - before))

: >"$work/heard"
before=$(rows)
order lock
wait_for 30 online || fail "not online on a read-only disk"
wrong locked
order unlock
wait_for 60 at_least $((before + 7)) || fail "not stored after the disk could be written again: $(rows)"
locked=$(($(rows) - before))
kill $inside
wait $inside || true
figure "disk full" "$full" "readings waited and were stored; alerts came, store-failing told and cleared"
figure "disk read-only" "$locked" "readings waited and were stored; alerts came"
