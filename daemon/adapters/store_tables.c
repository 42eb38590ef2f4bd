/* Layout of the store. Never change a step that was released: add the next one. */
#include "adapters/store_inside.h"
#include "adapters/store_schema.h"

/* marks of a reading: bits 0-2 time basis, 8 late, 16 the value is not known although something was sent, 32
 * raw is kept short (version 5).
 * value is NULL where it equals raw. tests is minus (verdict xor 0x22111111, the usual one), or, where it is
 * above 0, the verdict itself (model/reading.h). Readings of a probe before probe.settled_ms stand in
 * reading, later ones in recent, so that no reading counts twice while they move. */
#define READING_COLUMNS                                                                                      \
    "raw REAL, value REAL, flag INTEGER NOT NULL, tests INTEGER NOT NULL, marks INTEGER NOT NULL"

#define ROLLUP_COLUMNS                                                                                       \
    "probe INTEGER NOT NULL, t_ms INTEGER NOT NULL, n INTEGER NOT NULL, used INTEGER NOT NULL, "             \
    "good INTEGER NOT NULL, lo REAL, hi REAL, mean REAL, first REAL, last REAL, "                            \
    "PRIMARY KEY(probe, t_ms)) STRICT, WITHOUT ROWID;"

#define ISO(column) "strftime('%Y-%m-%dT%H:%M:%fZ', " column " / 1000.0, 'unixepoch')"

#define TRUE_VALUE(r) "CASE WHEN " r ".marks & 16 THEN NULL ELSE coalesce(" r ".value, " r ".raw) END"

/* SQL reads better laid out by hand. */
/* clang-format off */
static const char version_1[] =
    "CREATE TABLE probe(id INTEGER PRIMARY KEY, name TEXT NOT NULL, place TEXT NOT NULL,"
    " quantity TEXT NOT NULL, unit TEXT NOT NULL, device TEXT,"
    " settled_ms INTEGER NOT NULL DEFAULT 0, purged_ms INTEGER NOT NULL DEFAULT 0,"
    " UNIQUE(name, place, quantity)) STRICT;"
    "CREATE INDEX probe_by_place ON probe(place, quantity);"

    "CREATE TABLE recent(t_ms INTEGER NOT NULL, probe INTEGER NOT NULL, " READING_COLUMNS
    ", PRIMARY KEY(t_ms, probe)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE reading(probe INTEGER NOT NULL, t_ms INTEGER NOT NULL, " READING_COLUMNS
    ", PRIMARY KEY(probe, t_ms)) STRICT, WITHOUT ROWID;"
    "CREATE TABLE rollup_15min(" ROLLUP_COLUMNS "CREATE TABLE rollup_day(" ROLLUP_COLUMNS
    "CREATE TABLE touched(probe INTEGER NOT NULL, t_ms INTEGER NOT NULL, PRIMARY KEY(probe, t_ms))"
    " STRICT, WITHOUT ROWID;"

    "CREATE TABLE alert(ref TEXT PRIMARY KEY, place TEXT NOT NULL, kind TEXT NOT NULL,"
    " priority TEXT NOT NULL, state TEXT NOT NULL, base INTEGER NOT NULL, marks INTEGER NOT NULL,"
    " active INTEGER NOT NULL, unknown INTEGER NOT NULL, since_ms INTEGER, raised_ms INTEGER, value REAL,"
    " limit_value REAL, unit TEXT NOT NULL, cause TEXT, evidence TEXT, action TEXT, due_ms INTEGER,"
    " shelved_until_ms INTEGER, out_until_ms INTEGER, who TEXT, why TEXT, raises INTEGER NOT NULL,"
    " reminders INTEGER NOT NULL, leader TEXT, changed_ms INTEGER) STRICT, WITHOUT ROWID;"
    "CREATE TABLE alert_change(id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, ref TEXT NOT NULL,"
    " place TEXT NOT NULL, kind TEXT NOT NULL, change TEXT NOT NULL, state TEXT NOT NULL,"
    " priority TEXT NOT NULL, value REAL, limit_value REAL, unit TEXT NOT NULL, cause TEXT, evidence TEXT,"
    " action TEXT, due_ms INTEGER, who TEXT, why TEXT, announced INTEGER NOT NULL) STRICT;"
    "CREATE INDEX alert_change_by_place ON alert_change(place, t_ms);"
    "CREATE INDEX alert_change_by_time ON alert_change(t_ms);"

    "CREATE TABLE event(id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, kind TEXT NOT NULL, place TEXT,"
    " quantity TEXT, value REAL, text TEXT) STRICT;"
    "CREATE INDEX event_by_time ON event(t_ms);"
    "CREATE TABLE journal(id INTEGER PRIMARY KEY, t_ms INTEGER NOT NULL, at_ms INTEGER NOT NULL,"
    " command TEXT NOT NULL, place TEXT, alert TEXT, what TEXT, quantity TEXT, value REAL, litres REAL,"
    " grams REAL, minutes REAL, who TEXT, why TEXT, detail TEXT) STRICT;"
    "CREATE INDEX journal_by_time ON journal(at_ms);"
    "CREATE TABLE calibration(id INTEGER PRIMARY KEY, since_ms INTEGER NOT NULL, probe INTEGER NOT NULL,"
    " kind TEXT NOT NULL, gain REAL, offset REAL, offset_mv REAL, slope_acid REAL, slope_base REAL,"
    " UNIQUE(probe, since_ms)) STRICT;"
    "CREATE TABLE outbox(id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, next_ms INTEGER NOT NULL,"
    " attempts INTEGER NOT NULL, priority INTEGER NOT NULL, ref TEXT NOT NULL, json TEXT NOT NULL,"
    " text TEXT NOT NULL) STRICT;"
    "CREATE TABLE state(name TEXT PRIMARY KEY, bytes BLOB NOT NULL) STRICT, WITHOUT ROWID;"
    "CREATE TABLE meta(name TEXT PRIMARY KEY, value INTEGER NOT NULL) STRICT, WITHOUT ROWID;"

    "CREATE VIEW stored AS"
    " SELECT r.probe, r.t_ms, r.raw, " TRUE_VALUE("r") " AS value, r.flag, r.tests, r.marks"
    " FROM recent r JOIN probe p ON p.id = r.probe WHERE r.t_ms >= p.settled_ms"
    " UNION ALL"
    " SELECT r.probe, r.t_ms, r.raw, " TRUE_VALUE("r") ", r.flag, r.tests, r.marks FROM reading r;"

    "CREATE VIEW readings AS"
    " SELECT " ISO("s.t_ms") " AS time, p.place, p.quantity, s.value, p.unit, s.raw AS as_sent,"
    " CASE s.flag WHEN 1 THEN 'good' WHEN 2 THEN 'not evaluated' WHEN 3 THEN 'suspect'"
    " WHEN 4 THEN 'fail' WHEN 9 THEN 'missing' ELSE 'none' END AS quality, p.name AS probe"
    " FROM stored s JOIN probe p ON p.id = s.probe;"

    "CREATE VIEW quarter_hours AS"
    " SELECT " ISO("r.t_ms") " AS time, p.place, p.quantity, r.mean, r.lo, r.hi, p.unit, r.n, r.good,"
    " p.name AS probe"
    " FROM rollup_15min r JOIN probe p ON p.id = r.probe;"

    "CREATE VIEW days AS"
    " SELECT date(r.t_ms / 1000, 'unixepoch') AS day, p.place, p.quantity, r.mean, r.lo, r.hi, p.unit,"
    " r.n, r.good, p.name AS probe"
    " FROM rollup_day r JOIN probe p ON p.id = r.probe;"

    "CREATE VIEW alerts_now AS"
    " SELECT place, kind, state, priority, " ISO("since_ms") " AS since, value, limit_value AS \"limit\","
    " unit, cause, evidence, action, " ISO("due_ms") " AS due, who, why"
    " FROM alert WHERE state <> 'NORM';"

    "CREATE VIEW alert_history AS"
    " SELECT " ISO("t_ms") " AS time, place, kind, change, state, priority, value,"
    " limit_value AS \"limit\", unit, cause, evidence, action, who, why"
    " FROM alert_change;"

    "CREATE VIEW events AS"
    " SELECT " ISO("t_ms") " AS time, kind, place, quantity, value, text FROM event;"

    "CREATE VIEW notes AS"
    " SELECT " ISO("at_ms") " AS time, command, place, what, quantity, value, litres, grams, who, why,"
    " " ISO("t_ms") " AS written FROM journal;";
/* clang-format on */

static const char version_2[] = "ALTER TABLE calibration ADD COLUMN pivot_ph REAL NOT NULL DEFAULT 7;"
                                "ALTER TABLE calibration ADD COLUMN residual REAL;"
                                "ALTER TABLE calibration ADD COLUMN undone INTEGER NOT NULL DEFAULT 0;";

/* clang-format off */
static const char version_3[] =
    "CREATE TABLE device(id INTEGER PRIMARY KEY, since_ms INTEGER NOT NULL, probe INTEGER NOT NULL,"
    " device TEXT NOT NULL, UNIQUE(probe, since_ms)) STRICT;"
    "DROP VIEW readings;"
    "CREATE VIEW readings AS"
    " SELECT " ISO("s.t_ms") " AS time, p.place, p.quantity, s.value, p.unit, s.raw AS as_sent,"
    " CASE s.flag WHEN 1 THEN 'good' WHEN 2 THEN 'not evaluated' WHEN 3 THEN 'suspect'"
    " WHEN 4 THEN 'fail' WHEN 9 THEN 'missing' ELSE 'none' END AS quality, p.name AS probe,"
    " coalesce((SELECT d.device FROM device d WHERE d.probe = s.probe AND d.since_ms <= s.t_ms"
    " ORDER BY d.since_ms DESC LIMIT 1), p.device) AS device"
    " FROM stored s JOIN probe p ON p.id = s.probe;"
    "CREATE VIEW devices AS"
    " SELECT " ISO("d.since_ms") " AS since, p.place, p.quantity, d.device, p.name AS probe"
    " FROM device d JOIN probe p ON p.id = d.probe;";

/* The journal was the request's own text; now it is typed. line: the order in which figures were said. */
#define KINDS_BEFORE "'test','change','topoff','batch','feeding','animals','cleaning','remark'"

static const char version_4[] =
    "DROP VIEW notes; DROP INDEX journal_by_time; ALTER TABLE journal RENAME TO journal_before;"

    "CREATE TABLE journal(id INTEGER PRIMARY KEY, written_ms INTEGER NOT NULL, at_ms INTEGER NOT NULL,"
    " kind TEXT NOT NULL, place TEXT, water TEXT, batch INTEGER, litres REAL, grams REAL, kit TEXT, lot TEXT,"
    " other TEXT, who TEXT, text TEXT, corrects INTEGER, superseded_by INTEGER, withdrawn_ms INTEGER,"
    " withdrawn_by TEXT, withdrawn_why TEXT) STRICT;"
    "CREATE INDEX journal_by_time ON journal(at_ms);"
    "CREATE INDEX journal_by_batch ON journal(batch) WHERE batch IS NOT NULL;"
    "CREATE TABLE journal_item(line INTEGER PRIMARY KEY, entry INTEGER NOT NULL, role TEXT NOT NULL,"
    " name TEXT NOT NULL, amount REAL NOT NULL, sd REAL, UNIQUE(entry, role, name)) STRICT;"

    "INSERT INTO journal(id, written_ms, at_ms, kind, place, litres, grams, who, text)"
    " SELECT id, t_ms, at_ms, CASE WHEN command <> 'note' THEN 'calibration'"
    " WHEN what IN (" KINDS_BEFORE ") THEN what ELSE 'remark' END, place, litres, grams, who,"
    " CASE WHEN what IN (" KINDS_BEFORE ") THEN why"
    " ELSE trim(coalesce(what, '') || ' ' || coalesce(quantity, '') || ' ' || coalesce(why, '')) END"
    " FROM journal_before;"
    "INSERT INTO journal_item(entry, role, name, amount) SELECT id, 'value', quantity, value"
    " FROM journal_before WHERE command = 'note' AND what = 'test' AND quantity IS NOT NULL"
    " AND value IS NOT NULL;"
    "DROP TABLE journal_before;"

    "CREATE VIEW notes AS SELECT j.id, " ISO("j.at_ms") " AS time, j.kind, j.place,"
    " (SELECT group_concat(f, ', ') FROM (SELECT name || ' ' || amount AS f FROM journal_item i"
    " WHERE i.entry = j.id ORDER BY i.line)) AS figures,"
    " j.litres, j.grams, j.water, j.batch, j.kit, j.lot, j.other AS from_or_to, j.who, j.text,"
    " CASE WHEN j.withdrawn_ms IS NOT NULL THEN 'withdrawn' WHEN j.superseded_by IS NOT NULL THEN 'corrected'"
    " ELSE 'counts' END AS state, j.superseded_by AS corrected_by, j.withdrawn_why,"
    " " ISO("j.written_ms") " AS written FROM journal j;"
    "CREATE VIEW hand_tests AS SELECT " ISO("j.at_ms") " AS time, j.place, i.name AS quantity,"
    " i.amount AS value, i.sd AS uncertainty, j.kit, j.lot, j.who, j.id AS entry"
    " FROM journal j JOIN journal_item i ON i.entry = j.id AND i.role = 'value'"
    " WHERE j.kind = 'test' AND j.superseded_by IS NULL AND j.withdrawn_ms IS NULL;";
/* clang-format on */

/* raw with few decimals is kept as ten thousand times itself, a whole number: three bytes instead of eight.
 */
_Static_assert(READING_SHORT_SCALE == 10000 && READING_MARK_SHORT == 32, "as in the statement below");
#define RAW(r)          "CASE WHEN " r ".marks & 32 THEN " r ".raw / 10000.0 ELSE " r ".raw END"
#define TRUE_VALUE_5(r) "CASE WHEN " r ".marks & 16 THEN NULL ELSE coalesce(" r ".value, " RAW(r) ") END"

/* clang-format off */
static const char version_5[] =
    "DROP VIEW stored;"
    "CREATE VIEW stored AS"
    " SELECT r.probe, r.t_ms, " RAW("r") " AS raw, " TRUE_VALUE_5("r") " AS value, r.flag, r.tests,"
    " r.marks & ~32 AS marks"
    " FROM recent r JOIN probe p ON p.id = r.probe WHERE r.t_ms >= p.settled_ms"
    " UNION ALL"
    " SELECT r.probe, r.t_ms, " RAW("r") ", " TRUE_VALUE_5("r") ", r.flag, r.tests, r.marks & ~32 FROM reading r;";
/* clang-format on */

/* Recent readings take one number as their key and one for their verdict, which most of them have in common:
 * shorter rows, in pages that are filled to the end. tests as in reading, where they were stored as they are,
 * too (SQLite has no exclusive or; 571543825 is the usual verdict). */
_Static_assert(STORE_PROBE_BITS == 17 && STORE_STRETCH_BITS == 20 && STORE_ORIGIN_MS == 1577836800000 &&
                   STORE_REACH_MS == 70368744177664,
               "as in the statements below and in STORE_SINCE");
#define TESTS_CODE "CASE WHEN tests > 0 THEN (tests | 571543825) - (tests & 571543825) ELSE -tests END"

/* clang-format off */
static const char version_6[] =
    "DROP VIEW stored; CREATE TABLE recent_before AS SELECT * FROM recent; DROP TABLE recent;"
    "CREATE TABLE recent(key INTEGER PRIMARY KEY, raw REAL, value REAL, verdict INTEGER NOT NULL,"
    " probe INTEGER AS (key & 131071), t_ms INTEGER AS ((key >> 17) + 1577836800000),"
    " flag INTEGER AS (((verdict >> 6) + 1) & 15), tests INTEGER AS (-(verdict >> 10)),"
    " marks INTEGER AS (((verdict & 63) + 32) & 63)) STRICT;"
    "INSERT OR IGNORE INTO recent SELECT (t_ms - 1577836800000) * 131072 + probe, raw, value,"
    " ((" TESTS_CODE ") << 10) | (((flag + 15) & 15) << 6) | ((marks + 32) & 63) FROM recent_before"
    " WHERE probe < 131072 ORDER BY t_ms, probe;"
    "DROP TABLE recent_before;"
    "CREATE VIEW stored AS"
    " SELECT r.probe, r.t_ms, " RAW("r") " AS raw, " TRUE_VALUE_5("r") " AS value, r.flag, r.tests,"
    " r.marks & ~32 AS marks"
    " FROM recent r JOIN probe p ON p.id = r.probe WHERE r.t_ms >= p.settled_ms"
    " UNION ALL"
    " SELECT r.probe, r.t_ms, " RAW("r") ", " TRUE_VALUE_5("r") ", r.flag, r.tests, r.marks & ~32 FROM reading r;";
/* clang-format on */

/* Settled readings in the columns of recent ones, by stretch of time, probe and time. They are carried over
 * in that order, without a sort: stretch by stretch, and in each probe by probe. In the view readings the
 * probe stands first, so that a question for one place reads that probe's rows alone. rolled_ms: quarter
 * hours and days before it are made. */
#define CODED "((" TESTS_CODE ") << 10) | (((flag + 15) & 15) << 6) | ((marks + 32) & 63)"
#define NEXT_BEFORE(from_ms)                                                                                 \
    "(SELECT (min((SELECT min(b.t_ms) FROM reading_before b WHERE b.probe = p.id AND b.t_ms >= " from_ms     \
    ")) - 1577836800000) >> 20 FROM probe p)"
#define TOLD(r)                                                                                              \
    "p.id AS probe, " r ".t_ms, " RAW(r) " AS raw, " TRUE_VALUE_5(r) " AS value, " r ".flag, " r ".tests,"   \
                                                                     " " r ".marks & ~32 AS marks"
#define SETTLED_OF_PROBE                                                                                     \
    " FROM probe p CROSS JOIN stretch s CROSS JOIN reading r ON r.key >= (((s.n << 17) | p.id) << 20)"       \
    " AND r.key < (((s.n << 17) | p.id) << 20) + 1048576"
#define RECENT_OF_PROBE " FROM recent r JOIN probe p ON p.id = r.probe AND r.t_ms >= p.settled_ms"
#define TO_PEOPLE                                                                                            \
    "SELECT " ISO("r.t_ms") " AS time, p.place, p.quantity, " TRUE_VALUE_5(                                  \
        "r") " AS value, p.unit,"                                                                            \
             " " RAW("r") " AS as_sent, CASE r.flag WHEN 1 THEN 'good' WHEN 2 THEN 'not evaluated'"          \
                          " WHEN 3 THEN 'suspect' WHEN 4 THEN 'fail' WHEN 9 THEN 'missing' ELSE 'none' END " \
                          "AS quality,"                                                                      \
                          " p.name AS probe, coalesce((SELECT d.device FROM device d WHERE d.probe = p.id"   \
                          " AND d.since_ms <= r.t_ms ORDER BY d.since_ms DESC LIMIT 1), p.device) AS device"

/* clang-format off */
static const char version_7[] =
    "DROP VIEW readings; DROP VIEW stored;"
    "ALTER TABLE probe ADD COLUMN rolled_ms INTEGER NOT NULL DEFAULT 0;"
    "UPDATE probe SET rolled_ms = settled_ms;"
    "INSERT OR REPLACE INTO meta SELECT 'purged_ms', max(purged_ms) FROM probe HAVING max(purged_ms) > 0;"
    "ALTER TABLE probe DROP COLUMN purged_ms;"
    "ALTER TABLE reading RENAME TO reading_before;"
    "CREATE TABLE reading(key INTEGER PRIMARY KEY, raw REAL, value REAL, verdict INTEGER NOT NULL,"
    " probe INTEGER AS ((key >> 20) & 131071),"
    " t_ms INTEGER AS (((key >> 37) << 20) + (key & 1048575) + 1577836800000),"
    " flag INTEGER AS (((verdict >> 6) + 1) & 15), tests INTEGER AS (-(verdict >> 10)),"
    " marks INTEGER AS (((verdict & 63) + 32) & 63)) STRICT;"
    "WITH RECURSIVE stretch(n) AS (SELECT " NEXT_BEFORE("-68790907377664") " UNION ALL"
    " SELECT " NEXT_BEFORE("((n + 1) << 20) + 1577836800000") " FROM stretch WHERE n IS NOT NULL)"
    " INSERT OR IGNORE INTO reading SELECT (((s.n << 17) | p.id) << 20) + ((r.t_ms - 1577836800000) & 1048575),"
    " r.raw, r.value, " CODED " FROM stretch s CROSS JOIN probe p CROSS JOIN reading_before r"
    " ON r.probe = p.id AND r.t_ms >= (s.n << 20) + 1577836800000 AND r.t_ms < ((s.n + 1) << 20) + 1577836800000"
    " WHERE s.n < 67108864 AND p.id < 131072;"
    "DROP TABLE reading_before;"
    "CREATE VIEW stretch AS WITH RECURSIVE held(n) AS (SELECT (SELECT min(key) >> 37 FROM reading) UNION ALL"
    " SELECT (SELECT key >> 37 FROM reading WHERE key >= (n + 1) << 37 ORDER BY key LIMIT 1) FROM held"
    " WHERE n IS NOT NULL) SELECT n FROM held WHERE n IS NOT NULL;"
    "CREATE VIEW stored AS SELECT " TOLD("r") RECENT_OF_PROBE
    " UNION ALL SELECT " TOLD("r") SETTLED_OF_PROBE ";"
    "CREATE VIEW readings AS " TO_PEOPLE RECENT_OF_PROBE " UNION ALL " TO_PEOPLE SETTLED_OF_PROBE ";";
/* clang-format on */

const struct schema_step schema_steps[] = { { 1, version_1 }, { 2, version_2 }, { 3, version_3 },
                                            { 4, version_4 }, { 5, version_5 }, { 6, version_6 },
                                            { 7, version_7 } };
const int schema_step_count = (int)(sizeof schema_steps / sizeof *schema_steps);
