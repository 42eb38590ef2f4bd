#!/bin/bash
# One replay case: bash run.sh LENTIC_BINARY CASE_DIR
#
# CASE_DIR holds site.conf, capture.jsonl or capture.jsonl.gz, expect.jsonl, and as wanted:
#   emit  what to print (alerts)
#   more  how much time passes after the last line
#   cut   message numbers, one a line: restarted after each of them, the output must be the same
# UPDATE=1 rewrites expect.jsonl; read every line of it before it is committed.
set -u
lentic=$1
case=$2
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT

capture=$case/capture.jsonl
[ -f "$capture" ] || capture=$case/capture.jsonl.gz
options=(--conf "$case/site.conf" --emit "$(cat "$case/emit" 2>/dev/null || echo alerts)")
[ -f "$case/more" ] && options+=(--more "$(cat "$case/more")")

# replay OUTPUT OPTION...
replay() {
    local out=$1
    shift
    if ! "$lentic" replay "${options[@]}" "$@" "$capture" >"$out" 2>"$work/said"; then
        echo "lentic replay failed:"
        cat "$work/said"
        exit 1
    fi
    if [ -s "$work/said" ] && ! [ -f "$case/said" ]; then
        echo "lentic replay complained:"
        cat "$work/said"
        exit 1
    fi
}

# same WANTED GOT TITLE: or show where they part, in words before JSON
same() {
    cmp -s "$1" "$2" && return
    echo "$3 differs (- wanted, + got), $(wc -l <"$1") and $(wc -l <"$2") lines:"
    diff -U1 --label wanted --label got "$1" "$2" | cut -c1-400 | head -60
    exit 1
}

replay "$work/got"
if [ -n "${UPDATE:-}" ]; then
    cp "$work/got" "$case/expect.jsonl"
    echo "$case/expect.jsonl: $(wc -l <"$work/got") lines written; read them"
fi
if ! [ -f "$case/expect.jsonl" ]; then
    echo "$case/expect.jsonl is missing: read what replay prints, then run with UPDATE=1"
    exit 1
fi
same "$case/expect.jsonl" "$work/got" "the output"
[ -f "$case/said" ] && same "$case/said" "$work/said" "what was said"
if [ -f "$case/cut" ]; then
    while read -r n; do
        replay "$work/cut" --cut "$n"
        same "$case/expect.jsonl" "$work/cut" "the run cut after message $n"
    done <"$case/cut"
fi
exit 0
