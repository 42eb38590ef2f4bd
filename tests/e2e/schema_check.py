"""Holds what was heard against the published schemas.

usage: schema_check.py [--some] SCHEMA_DIR BASE FILE...    FILE: lines as `mosquitto_sub -F %j` or `lentic replay` prints
--some: not every kind of document need be there.
A member that the schema does not name is a fault: what is published is what is documented.
"""
import json
import pathlib
import sys

import jsonschema

some = sys.argv[1] == "--some"
words = sys.argv[1 + some:]
folder, base, files = pathlib.Path(words[0]), words[1] + "/", words[2:]
schemas = {p.stem: json.loads(p.read_text()) for p in folder.glob("*.json")}


def closed(schema):
    if isinstance(schema, list):
        return [closed(s) for s in schema]
    if not isinstance(schema, dict):
        return schema
    out = {k: closed(v) for k, v in schema.items()}
    if "properties" in out and ("required" in out or out.get("type") == "object"):
        out.setdefault("additionalProperties", False)
    return out


for schema in schemas.values():
    jsonschema.Draft202012Validator.check_schema(schema)
    if schema["$schema"] != "https://json-schema.org/draft/2020-12/schema":
        sys.exit("another draft")
checks = {
    name: jsonschema.Draft202012Validator(closed(schema), format_checker=jsonschema.FormatChecker())
    for name, schema in schemas.items()
}


def name_of(topic, payload):
    part = topic[len(base):].split("/")
    if part[0] == "do":
        return "note" if part[1] == "note" else "command"
    if part[0] == "event":
        return "alert" if "change" in payload else "entry" if payload["event"].startswith("note") else "event"
    return {"done": "answer"}.get(part[0], part[0])


def printed(d):
    return "alert" if "change" in d else "event" if "event" in d else "answer" if "ok" in d else "reading"


seen, faults, told = {}, 0, set()
for file in files:
    for line in open(file, encoding="utf-8"):
        d = json.loads(line)
        topic = d.get("topic") if "payload" in d else None
        if topic is not None:
            if not topic.startswith(base) or not d["payload"]:
                continue
            d = json.loads(d["payload"])
        name = printed(d) if topic is None else name_of(topic, d)
        seen[name] = seen.get(name, 0) + 1
        for e in checks[name].iter_errors(d):
            faults += 1
            told.add(f"{name} {topic}: {'/'.join(map(str, e.path))}: {e.message[:200]}")
print("\n".join(sorted(told)[:40]))
print(" ".join(f"{n}:{c}" for n, c in sorted(seen.items())), f"{faults} faults")
missing = set(schemas) - set(seen)
if missing and not some:
    print("nothing was heard for", *sorted(missing))
sys.exit(1 if faults or not seen or missing and not some else 0)
