#!/bin/bash
# Files of at most 600 lines (tests, which list cases, 1200), functions of at most 100, half of all functions at most 15.
# usage: sizes.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
file_most=600 test_most=1200 function_most=100 median_most=15
faults=0

while read -r lines file; do
    [ "$file" = total ] && continue
    most=$file_most
    case "$file" in tests/*) most=$test_most ;; esac
    if [ "$lines" -gt "$most" ]; then
        echo "$file: $lines lines, at most $most"
        faults=$((faults + 1))
    fi
done < <(find daemon include tests scripts systemd conf -type f \
    \( -name '*.[ch]' -o -name '*.sh' -o -name '*.conf' -o -path 'scripts/*' \) -exec wc -l {} +)

# One line a function: length, place, name. A function begins at the first line of its head and ends with the "}"
# of the first column, as the house format writes it.
functions() {
    awk '
        FNR == 1 { head = 0; inside = 0 }
        !inside && /^[A-Za-z_]/ && !/^(typedef|#)/ && head == 0 { head = FNR; first = $0 }
        !inside && head && /;[[:space:]]*$/ { head = 0 }
        !inside && (/^$/ || /^#/ || /^\/?\*/ || /^ \*/) { head = 0 }
        /^\{$/ && head { inside = 1; start = head }
        /^\}/ {
            if (inside) {
                name = first; sub(/\(.*/, "", name); sub(/.*[ *]/, "", name)
                print FNR - start + 1, FILENAME ":" start, name
            }
            inside = 0; head = 0
        }' "$@"
}
mapfile -t tested < <(find tests -name '*.c')
while read -r lines place name; do
    if [ "$lines" -gt "$function_most" ]; then
        echo "$place: $name has $lines lines, at most $function_most"
        faults=$((faults + 1))
    fi
done < <(functions daemon/*/*.c "${tested[@]}")

sorted=$(functions daemon/*/*.c | sort -n)
count=$(wc -l <<<"$sorted")
median=$(sed -n "$(((count + 1) / 2))p" <<<"$sorted" | cut -d' ' -f1)
echo "$count functions below daemon/: median $median lines; the longest:"
tail -3 <<<"$sorted"
if [ "$median" -gt "$median_most" ] || [ "$count" -lt 100 ]; then
    echo "the median of $count functions is $median lines, at most $median_most"
    faults=$((faults + 1))
fi
[ "$faults" -eq 0 ]
