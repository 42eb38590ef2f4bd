#!/bin/bash
# C sources are as clang-format 14 with the .clang-format of the tree writes them.
# usage: format.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
tool=$(command -v clang-format-14 || command -v clang-format || true)
if [ -z "$tool" ] || ! "$tool" --version | grep -q 'version 14\.'; then
    echo "clang-format 14 is not here: nothing was looked at"
    exit 0
fi
mapfile -t files < <(find daemon include tests -name '*.[ch]')
[ "${#files[@]}" -gt 100 ] || { echo "only ${#files[@]} files found"; exit 1; }
if ! said=$("$tool" --dry-run -Werror "${files[@]}" 2>&1); then
    grep -E 'error:' <<<"$said" | cut -d: -f1 | sort | uniq -c | awk '{ print $2 ": " $1 " places; run clang-format -i on it" }'
    exit 1
fi
echo "${#files[@]} files as they should be"
