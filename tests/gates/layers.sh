#!/bin/bash
# Include lines name the layer they reach into; only what CMakeLists.txt links a layer against may be named, and
# each library of other people is included by its one adapter only.
# usage: layers.sh SOURCE_DIR BUILD_DIR
set -euo pipefail
cd "$1"
faults=0
fault() {
    echo "$*"
    faults=$((faults + 1))
}

# The graph stands in CMakeLists.txt: lentic_layer(NAME lentic_BELOW ... OTHER_LIBRARY ...)
declare -A allowed
while read -r name rest; do
    allowed[$name]=" $name "
    for below in $rest; do
        [[ $below == lentic_* ]] || continue
        below=${below#lentic_}
        if [ -z "${allowed[$below]:-}" ]; then
            fault "CMakeLists.txt: layer $name stands on $below, which is not declared above it"
            continue
        fi
        allowed[$name]+="${allowed[$below]}"
    done
done < <(sed -n 's/^lentic_layer(\(.*\))$/\1/p' CMakeLists.txt)
[ "${#allowed[@]}" -ge 5 ] || fault "CMakeLists.txt: only ${#allowed[@]} lentic_layer lines were found"
for dir in daemon/*/ include/*/; do
    layer=$(basename "$dir")
    [ -n "${allowed[$layer]:-}" ] || fault "$dir: no lentic_layer($layer ...) in CMakeLists.txt"
done

# Who may include other people's libraries.
owner_of() {
    case $1 in
    MQTTAsync.h | MQTTClient.h | MQTTProperties.h | MQTTReasonCodes.h) echo '^(daemon/adapters/mqtt[a-z_]*\.c|tests/bench/[a-z_]+\.[ch])$' ;;
    sqlite3.h) echo '^(daemon/adapters/store[a-z_]*\.c|tests/unit/(test_store[a-z_]*\.c|store_[a-z_]+\.h)|tests/bench/insert\.c)$' ;;
    libconfig.h) echo '^daemon/config/[a-z_]+\.c$' ;;
    jansson.h) echo '^daemon/wire/json[a-z_]*\.c$' ;;
    zlib.h) echo '^daemon/(cli/replay[a-z_]*|adapters/store_state)\.c$' ;;
    openssl/*) echo '^daemon/adapters/certificate\.c$' ;;
    cmocka.h) echo '^tests/' ;;
    *) echo '' ;;
    esac
}

# Layer of a file; unit tests belong to the layer of the header they test.
layer_of() {
    local header
    case $1 in
    daemon/*/* | include/*/*) cut -d/ -f2 <<<"$1" ;;
    tests/unit/test_*.c)
        header=$(basename "$1" .c)
        header=$(echo include/*/"${header#test_}".h)
        cut -d/ -f2 <<<"$header"
        ;;
    esac
}

lines=0
while IFS=: read -r file number line; do
    lines=$((lines + 1))
    if [[ $line =~ ^[[:space:]]*#[[:space:]]*include[[:space:]]*\<([^>]+)\> ]]; then
        header=${BASH_REMATCH[1]}
        owner=$(owner_of "$header")
        [ -z "$owner" ] || [[ $file =~ $owner ]] || fault "$file:$number: <$header> belongs to $owner"
        continue
    fi
    [[ $line =~ \"([^\"]+)\" ]] || continue
    header=${BASH_REMATCH[1]}
    layer=$(layer_of "$file")
    if [[ $header != */* ]]; then
        [[ $file == tests/* ]] || fault "$file:$number: \"$header\" does not name its layer"
    elif [ ! -f "include/$header" ]; then
        [[ $file == tests/* ]] || fault "$file:$number: there is no include/$header"
    elif [ -n "$layer" ] && [[ ${allowed[$layer]:-} != *" ${header%%/*} "* ]]; then
        fault "$file:$number: layer $layer must not know \"$header\""
    fi
done < <(grep -rnE --include='*.[ch]' '^[[:space:]]*#[[:space:]]*include' daemon include tests)

echo "$lines include lines, ${#allowed[@]} layers, $faults faults"
[ "$faults" -eq 0 ] && [ "$lines" -gt 0 ]
