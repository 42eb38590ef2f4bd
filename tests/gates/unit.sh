#!/bin/bash
# The service's unit keeps its least privilege: exposure of at most 1.5 of 10 as systemd reckons it, and no fault in it.
# usage: unit.sh SOURCE_DIR BUILD_DIR; exit code 77: systemd-analyze is not here
set -euo pipefail
command -v systemd-analyze >/dev/null || { echo "systemd-analyze is not here"; exit 77; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
sed 's#@LENTIC_BINDIR@#/usr/bin#' "$1/systemd/lenticd.service" >"$work/lenticd.service"
if ! systemd-analyze security --offline=true --threshold=15 "$work/lenticd.service" >"$work/said" 2>&1; then
    grep -vE '^✓' "$work/said"
    exit 1
fi
grep -q 'Overall exposure' "$work/said" || { cat "$work/said"; exit 1; }
