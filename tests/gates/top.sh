#!/bin/bash
# The top level holds what it should and nothing else; dot files and build directories aside.
# usage: top.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
wanted='CMakeLists.txt DEVELOPERS.md LICENSE README.md conf daemon include scripts systemd tests'
faults=0
for name in *; do
    [[ " $wanted " == *" $name "* ]] && continue
    [[ $name == build* && -f $name/CMakeCache.txt ]] && continue
    echo "$name does not belong on the top level"
    faults=$((faults + 1))
done
for name in $wanted; do
    [ -e "$name" ] && continue
    echo "$name is missing"
    faults=$((faults + 1))
done
[ "$faults" -eq 0 ]
