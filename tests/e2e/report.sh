#!/bin/bash
# The report of a room that was fed over MQTT: one page that needs nothing but itself, with what the service says and
# without; names are text; where there is nothing, or nowhere to write, it says so.
. "$(dirname "$0")/lib.sh"
start_broker
write_conf 'stocks = ( { id = "tiger"; name = "Tigers & <others>"; } );' 'stock = "tiger"; day_range = { temp = 1.5; };'
sed -i 's/name = "Crystals"/name = "Crystals <b>\& co"/' "$conf"
page=$work/week.html
# report CODE PATTERN ARGS...: what it says, not the page
report() {
    local code=0 want=$1 pattern=$2
    shift 2
    "$lentic" report --conf "$conf" "$@" >"$work/said" 2>&1 || code=$?
    [ $code -eq "$want" ] || fail "report $* ended with $code: $(cat "$work/said")"
    grep -qE -- "$pattern" "$work/said" || fail "report $* said: $(cat "$work/said")"
}
has() { grep -qF -- "$1" "$page" || fail "no \"$1\" in the page"; }
has_not() { if grep -qF -- "$1" "$page"; then fail "\"$1\" in the page"; fi; }

report 3 'there is no store' -o "$page"
start_daemon_online
report 1 'holds no reading yet' -o "$page"
[ ! -e "$page" ] || fail "a page of nothing"

hear heard "$base/#"
for v in 22.0 22.5 19.5; do
    pub probes/a1/temp $v
    sleep 0.1
done
pub docs/a1 "{\"t\":$(now_ms),\"ec\":230}"
must_hear heard "^$base/alert/tank/a1/temp-low 0 .*UNACK"
"$lentic" note --conf "$conf" --who 'Ada <b>' a1 gh=6 >/dev/null
"$lentic" note --conf "$conf" --who Ada a1 change 6L 'with <script>care</script> & "love"' >/dev/null
wait_for 10 stored a1 temp 3 || fail "three readings are not in the store"
report 0 'week.html: [0-9]+ places, [0-9]+ KiB' -o "$page"
# Well formed, every link leads somewhere, nothing from outside, no scripts.
python3 - "$page" <<'PY' || fail "the page"
import html.parser, re, sys
text = open(sys.argv[1], encoding='utf-8').read()
VOID = {'meta', 'br', 'link', 'img', 'input', 'hr'}
class Page(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.ids, self.links, self.tags = [], [], [], set()
    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        attrs = dict(attrs)
        self.ids += [attrs['id']] if 'id' in attrs else []
        self.links += [v for k, v in attrs.items() if k in ('href', 'src', 'data', 'action', 'xlink:href')]
        assert not any(k.startswith('on') for k in attrs), attrs
        if tag == 'th':
            assert attrs.get('scope') in ('row', 'col'), attrs
        if tag not in VOID:
            self.open.append(tag)
    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)
    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, (tag, self.open, self.getpos())
p = Page()
p.feed(text)
p.close()
assert not p.open, p.open
assert len(p.ids) == len(set(p.ids)), p.ids
assert not p.tags & {'script', 'iframe', 'object', 'link', 'img'}, p.tags
for link in p.links:
    assert link.startswith('#') and link[1:] in p.ids, link
assert 'http' not in text and '@import' not in text and set(re.findall(r'url\(([^)]*)\)', text)) <= {'#work'}
assert text.count('<svg class="draw" role="img"><title>') == 2, text.count('<svg class="draw"')
PY
has 'Crystals &lt;b&gt;&amp; co'
has 'Tigers &amp; &lt;others&gt;'
has 'with &lt;script&gt;care&lt;/script&gt; &amp; &quot;love&quot;'
has 'Ada &lt;b&gt;'
has '6.0 °dH'
has '>W</text>'
has 'values and alerts that the service told'
has '<article class="notice high">'
has 'temperature below the band now'
has '<td class="n bad">19.50 <abbr title="below the band">↓</abbr></td>'
has 'swing in a day'
has 'no reading of temperature' # of tank a2
has_not 'As the store has it'

"$lentic" report --conf "$conf" --json | python3 -c '
import json, sys
r = json.load(sys.stdin)
a1 = next(p for p in r["places"] if p["place"] == "tank/a1")
temp = a1["quantities"][0]
assert a1["rank"] == "high" and temp["lo"] == 19.5 and temp["hi"] == 22.5 and temp["readings"] == 3, a1
assert temp["last"] == 19.5, temp
assert r["standing"][0]["id"] == "tank/a1/temp-low" and r["alerts"][0]["ended"] is None, r["standing"]
assert r["tests"][0]["value"] == 6, r["tests"]' || fail "the figures as JSON"

# One tank; an older report gives way, another file does not.
report 0 '1 places' a1 --hours 2 -o "$page"
has_not 'id="tank-a2"'
echo precious >"$work/other"
report 2 'is there already and is no report' -o "$work/other"
[ "$(cat "$work/other")" = precious ] || fail "another file was written over"
report 3 'cannot|No such' -o "$work/nowhere/week.html"
report 3 'cannot be written' -o /dev/full
[ -c /dev/full ] || fail "a device was replaced"
code=0
"$lentic" report --conf "$conf" >/dev/full 2>"$work/said" || code=$?
[ $code -eq 3 ] && grep -q 'disk full' "$work/said" || fail "a full disk ($code): $(cat "$work/said")"
report 2 'did you mean "a1"' a11 -o "$page"
report 2 'from must lie before' --from 2026-03-02 --to 2026-03-01 -o "$page"
report 1 'nothing for that span; the store has readings from' --from 2020-01-01 --days 3 -o "$page"
report 2 'days' --days many -o "$page"

# Without the service, then without the broker, the store still tells; a copy of it as well.
stop_daemon
report 0 KiB -o "$page"
has 'the service is not running'
has 'As the store has it'
has '<article class="notice high">'
stop_broker
report 0 KiB -o "$page"
has 'the broker was not reached'
"$lentic" backup --conf "$conf" "$work/copy.db" >/dev/null
"$lentic" report --conf "$conf" --store "$work/copy.db" >"$page" 2>"$work/said" || fail "a copy: $(cat "$work/said")"
[ ! -s "$work/said" ] || fail "a copy asks for the broker: $(cat "$work/said")"
has '<article class="notice high">'
