#!/bin/bash
# What the libraries below adapters/ call: no clock, no file, no socket, no log, no environment, no allocation.
# Everything undefined in them must stand in a list below; a new name is refused until somebody has thought about it.
# usage: purity.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
build=$2
faults=0

strings='memchr memcmp memcpy memmove memset strchr strcmp strcspn strlen strncasecmp strncmp strnlen strpbrk strrchr
    strspn strstr ctype_b_loc ctype_tolower_loc ctype_toupper_loc'
numbers='acos asin atan atan2 cbrt ceil cos exp exp2 expm1 fabs floor fma fmax fmin fmod hypot ldexp llround log log10 log1p
    log2 lrint lround modf nearbyint pow rint round sin sqrt tan tanh trunc qsort snprintf vsnprintf assert_fail stack_chk_fail'
toolchain='_GLOBAL_OFFSET_TABLE_'
declare -A more=(
    # arena_* hands out start-up memory; numbers are read in the C locale whatever the process has.
    [base]='abort calloc free malloc newlocale uselocale strtod_l'
    # The one reader of configuration files, at start and reload only.
    [config]='abort calloc free errno_location strerror strtoll fopen fread fclose ferror fileno fstat config_*'
    # jansson builds and drops its tree behind wire/json.
    [wire]='free json_*'
)

# listed NAME PATTERNS...
listed() {
    local name=$1 pattern
    shift
    for pattern in "$@"; do
        # shellcheck disable=SC2053 # patterns are meant
        [[ $name == $pattern ]] && return
    done
    return 1
}

shopt -s nullglob
libraries=("$build"/liblentic_*.a)
[ "${#libraries[@]}" -gt 5 ] || { echo "$build: the libraries are not built"; exit 1; }
own=$(nm --defined-only "${libraries[@]}" 2>/dev/null | awk 'NF == 3 { print $3 }' | sort -u)
checked=0
set -f
for layer in base water model config wire engine plan show rehearse; do
    library=$build/liblentic_$layer.a
    [ -f "$library" ] || { echo "$library is missing"; faults=$((faults + 1)); continue; }
    while read -r symbol; do
        checked=$((checked + 1))
        plain=${symbol#__}
        plain=${plain#isoc99_}
        plain=${plain%_chk}
        case $symbol in __asan_* | __ubsan_* | __sanitizer_* | __tsan_* | __lsan_*) continue ;; esac
        # shellcheck disable=SC2086 # lists of words
        listed "$plain" $strings $numbers ${more[$layer]:-} || listed "$symbol" $toolchain && continue
        echo "layer $layer calls $symbol"
        faults=$((faults + 1))
    done < <(nm -u "$library" 2>/dev/null | awk 'NF == 2 { print $2 }' | sort -u | grep -vxF -f <(echo "$own"))
done

# Character classes and case may be used because nobody ever changes the locale.
for library in "${libraries[@]}"; do
    if [ -n "$(nm -u "$library" 2>/dev/null | grep -w setlocale)" ]; then
        echo "$(basename "$library") calls setlocale: numbers and character classes would change their meaning"
        faults=$((faults + 1))
    fi
done
echo "$checked outside names in nine libraries, $faults faults"
[ "$faults" -eq 0 ] && [ "$checked" -gt 0 ]
