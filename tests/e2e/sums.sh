#!/bin/bash
# The one-off sums on a configured room: what a keeper types, the lines and exit codes that come back.
set -u
lentic=${LENTIC_BIN:?}/lentic
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
fails=0

cat >"$work/room.conf" <<'CONF'
site = { id = "millrace"; name = "Millrace"; };
broker = { host = "localhost"; };
store = { path = "/nowhere/needed.db"; };
salts = ( { id = "up"; name = "Up"; gh = 30.0; kh = 2.0; ec = 1300.0; tds = 800.0; stock_g = 5.0; },
          { id = "soda"; composition = "KHCO3"; } );
waters = ( { id = "soft"; ec = 190.0; gh = 4.5; kh = 0.3; ph = 6.4; temp = 24.0; drift = { ec = 20.0; };
             recipe = ( { salt = "up"; g_per_l = 0.15; } ); },
           { id = "hard"; gh = 8.0; kh = 4.0; } );
stocks = ( { id = "shrimp"; per_hour = { ec = 50.0; temp = 2.0; }; step = { ec = 30.0; }; } );
tanks = ( { id = "a1"; volume_l = 30.0; water = "soft"; stock = "shrimp"; } );
probes = ( { topic = "probes/{tank}/temp"; measures = "temp"; unit = "Cel"; } );
CONF

# expect CODE WORDS ARGUMENTS...: that exit code, and the words in what was said
expect() {
    local code=$1 words=$2 said got
    shift 2
    said=$("$lentic" "$@" 2>&1)
    got=$?
    if [ $got -ne "$code" ] || ! grep -qF -- "$words" <<<"$said"; then
        echo "lentic $*: exit $got, want $code with \"$words\"; it said: $said"
        fails=1
    fi
}

conf=(--conf "$work/room.conf")
expect 0 'weigh 9.00 g of Up' mix soft --litres 60 "${conf[@]}"
expect 0 'GH 4.5, KH 0.3' mix a1 "${conf[@]}"
expect 0 'fall out as chalk' mix hard "${conf[@]}"
expect 0 '"salt":"soda"' mix hard --litres 10gal --json "${conf[@]}"
expect 1 'only add' mix hard --source-gh 20 "${conf[@]}"
expect 2 'did you mean "soft"' mix sotf "${conf[@]}"
expect 2 'give one WATER' mix "${conf[@]}"
expect 2 'litres' mix soft --litres 5mV "${conf[@]}"
expect 2 'cannot be used' mix soft --conf "$work/none.conf"
expect 0 '7 changes of 6.8 L' change a1 --now 310 "${conf[@]}"
expect 0 'there already' change a1 --now 0.2mS/cm "${conf[@]}"
expect 1 'nearest is 190' change a1 --now 310 --to 100 "${conf[@]}"
expect 1 'equal to the tank' change a1 --now 310 --to 200 --with 310 "${conf[@]}"
expect 3 '--now' change a1 "${conf[@]}"
expect 2 'does not mix' change a1 --quantity ph --now 7 --to 6 --with 5 "${conf[@]}"
expect 0 '3.49 L' topoff a1 --now 215 "${conf[@]}"
expect 1 'nothing has evaporated' topoff a1 --now 150 "${conf[@]}"
expect 0 '25.78 L of a' blend --a 8 --b 520 --to 190 --litres 40
expect 0 '"to":190' blend --a 8 --b 520 --water soft --json "${conf[@]}"
expect 1 'nearest is 520' blend --a 8 --b 520 --to 600
expect 0 'the pace is set by conductivity' acclimate a1 --bag-temp 20 --bag-ec 390 --bag-ph 7.4 "${conf[@]}"
expect 0 'do NOT drip' acclimate a1 --bag-temp 20 --temp 24 --bag-ph 6 --bag-tan 3 --ph 7.8 "${conf[@]}"
expect 2 'they go to' acclimate a1 --from a1 "${conf[@]}"
expect 2 'no tank "zz"' acclimate a1 --from zz "${conf[@]}"
expect 1 'nothing to compare' acclimate a1 "${conf[@]}"
expect 0 '"ec25":' calc ec25 ec=0.38mS/cm temp=75.2F --json
expect 2 'did you mean "trend"' calc trnd
exit $fails
