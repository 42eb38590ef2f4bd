"""Holds a Homie 5 tree against the convention's text (homieiot.github.io, 5.0).

usage: homie_check.py tree FILE        FILE: "TOPIC RETAIN PAYLOAD" lines, what a fresh subscriber gets
       homie_check.py life FILE        the same lines as a live subscriber saw them, in order
Prints what is wrong, one line each, and ends with 1; or a count and 0.
"""
import json
import re
import sys

DOMAIN = "homie/5/"
ID = re.compile(r"^[a-z0-9-]+$")
STATES = {"init", "ready", "disconnected", "sleeping", "lost"}
FLOAT = re.compile(r"^-?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE]-?[0-9]+)?$")
TIME = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:?\d\d)$")
DURATION = re.compile(r"^PT(?=\d)(\d+H)?(\d+M)?(\d+S)?$")
DEVICE_FIELDS = {"homie", "version", "nodes", "name", "type", "children", "root", "parent", "extensions"}
PROPERTY_FIELDS = {"name", "datatype", "format", "settable", "retained", "unit"}
faults = []


def fault(text):
    faults.append(text)


def lines_of(path):
    for line in open(path, "rb").read().decode("utf-8").split("\n"):
        if line.startswith(DOMAIN):
            topic, retain, payload = (line.split(" ", 2) + [""])[:3]
            yield topic[len(DOMAIN):], retain == "1", payload


def in_range(value, form, integer):
    parts = (form.split(":") + ["", "", ""])[:3]
    low, high, step = (float(p) if p else None for p in parts)
    if integer and any(p and not re.match(r"^-?\d+$", p) for p in parts):
        return False
    if step:
        base = low if low is not None else high if high is not None else value
        steps = (value - base) / step
        if abs(steps - round(steps)) > 1e-6:
            return False
    return (low is None or value >= low - 1e-9) and (high is None or value <= high + 1e-9)


def is_valid(payload, p):
    kind, form = p["datatype"], p.get("format", "")
    if payload.startswith("\ufeff") or "\x00" in payload[1:]:
        return False
    if kind == "integer":
        return bool(re.match(r"^-?\d+$", payload)) and in_range(int(payload), form, True)
    if kind == "float":
        return bool(FLOAT.match(payload)) and in_range(float(payload), form, False)
    if kind == "boolean":
        return payload in ("true", "false")
    if kind == "enum":
        return payload in form.split(",")
    if kind == "datetime":
        return bool(TIME.match(payload))
    if kind == "duration":
        return bool(DURATION.match(payload))
    return kind == "string"


def check_property(where, p):
    if set(p) - PROPERTY_FIELDS:
        fault(f"{where}: unknown fields {set(p) - PROPERTY_FIELDS}")
    if p.get("datatype") not in ("integer", "float", "boolean", "enum", "string", "datetime", "duration"):
        fault(f"{where}: datatype {p.get('datatype')}")
    if p.get("datatype") == "enum":
        words = p.get("format", "").split(",")
        if "" in words or len(set(words)) != len(words) or any(w != w.strip() for w in words):
            fault(f"{where}: enum format {p.get('format')!r}")
    if p.get("unit", "x").strip() == "":
        fault(f"{where}: empty unit")
    for name in ("settable", "retained"):
        if name in p and not isinstance(p[name], bool):
            fault(f"{where}: {name} is no boolean")


def described(device, payload):
    try:
        d = json.loads(payload)
    except ValueError:
        fault(f"{device}: the description is no JSON")
        return None
    if set(d) - DEVICE_FIELDS or not re.match(r"^5\.\d+$", d.get("homie", "")):
        fault(f"{device}: fields {set(d) - DEVICE_FIELDS}, homie {d.get('homie')}")
    if not isinstance(d.get("version"), int) or not 0 < d["version"] < 2**53:
        fault(f"{device}: version {d.get('version')}")
    for node, n in d.get("nodes", {}).items():
        for name, p in n.get("properties", {}).items():
            if not ID.match(node) or not ID.match(name):
                fault(f"{device}/{node}/{name}: no id")
            check_property(f"{device}/{node}/{name}", p)
    return d


def properties_of(d):
    return {f"{n}/{p}": v for n, node in d.get("nodes", {}).items() for p, v in node.get("properties", {}).items()}


def check_family(devices):
    roots = [i for i, d in devices.items() if "root" not in d]
    if len(roots) != 1:
        fault(f"roots: {roots}")
        return
    children = devices[roots[0]].get("children", [])
    if sorted(children) != sorted(set(devices) - set(roots)):
        fault(f"{roots[0]} lists {children}, there are {sorted(set(devices) - set(roots))}")
    for i, d in devices.items():
        if i not in roots and d["root"] != roots[0]:
            fault(f"{i}: root {d['root']}")


def tree(path):
    kept = {}
    for topic, retain, payload in lines_of(path):
        if not retain:
            fault(f"{topic}: a fresh subscriber heard it without the retain flag")
        kept.setdefault(topic.split("/")[0], {})[topic.split("/", 1)[1]] = payload
    devices = {}
    for device, topics in kept.items():
        if not ID.match(device) or topics.get("$state") not in STATES or "$description" not in topics:
            fault(f"{device}: id, state {topics.get('$state')} or description is missing")
            continue
        devices[device] = described(device, topics["$description"])
        props = properties_of(devices[device])
        for name, p in props.items():
            if name not in topics:
                fault(f"{device}/{name}: described and without a value")
            elif not is_valid(topics[name], p):
                fault(f"{device}/{name}: {topics[name]!r} is no {p}")
            if p.get("settable") and f"{name}/$target" not in topics:
                fault(f"{device}/{name}: settable, without a target")
        for name in topics:
            base = name[:-8] if name.endswith("/$target") else name
            if name not in ("$state", "$description") and not name.startswith("$alert/") and base not in props:
                fault(f"{device}/{name}: left over")
    check_family(devices)
    return sum(len(t) for t in kept.values())


class Device:
    def __init__(self):
        self.state, self.d, self.told, self.targets, self.payload, self.fresh = None, None, set(), set(), None, False


def seed(v, rest, payload):
    """What was there before the live subscriber came."""
    if rest == "$state":
        v.state = payload
    elif rest == "$description":
        v.d, v.payload = json.loads(payload), payload
    elif rest.endswith("/$target"):
        v.targets.add(rest[:-8])
    else:
        v.told.add(rest)


def life(path):
    devices, count = {}, 0
    for topic, retained, payload in lines_of(path):
        count += 1
        device, rest = topic.split("/", 1)
        if rest.endswith("/set") or rest.startswith("$log/"):
            continue
        v = devices.setdefault(device, Device())
        where = f"line {count}, {device}/{rest}"
        if retained:
            seed(v, rest, payload)
            continue
        if rest == "$state":
            if payload == "":
                devices[device] = Device()
                devices[device].state = "removed"
                continue
            if payload not in STATES:
                fault(f"{where}: {payload}")
            if payload == "init":
                v.told, v.fresh = set(), False
            if payload == "ready":
                if v.state == "ready":
                    fault(f"{where}: ready twice")
                missing = set(properties_of(v.d or {})) - v.told
                if v.state == "init" and (not v.fresh or missing):
                    fault(f"{where}: ready without {missing or 'a description'}")
                for child in (v.d or {}).get("children", []):
                    if devices.get(child, Device()).state != "ready":
                        fault(f"{where}: before its child {child}")
            v.state = payload
        elif v.state == "removed":
            if payload != "":
                fault(f"{where}: the device was removed")
        elif rest == "$description":
            if v.state not in ("init", "disconnected", "lost"):
                fault(f"{where}: described while {v.state}")
            d = described(device, payload)
            if v.d is not None and payload != v.payload and d["version"] <= v.d["version"]:
                fault(f"{where}: version {d['version']} after {v.d['version']}")
            v.d, v.payload, v.fresh = d, payload, True
        elif rest.startswith("$alert/"):
            if not ID.match(rest[7:]):
                fault(f"{where}: no id")
        else:
            target = rest.endswith("/$target")
            name = rest[:-8] if target else rest
            p = properties_of(v.d or {}).get(name)
            if p is None:
                if payload != "":
                    fault(f"{where}: not described")
                continue
            if payload == "" or not is_valid(payload, p):
                fault(f"{where}: {payload!r} is no {p}")
            if target:
                v.targets.add(name)
                if name in v.told and name not in v.targets:
                    fault(f"{where}: a target after values without")
            else:
                if p.get("settable") and name not in v.targets:
                    fault(f"{where}: a value before the first target")
                v.told.add(name)
    return count


if __name__ == "__main__":
    seen = {"tree": tree, "life": life}[sys.argv[1]](sys.argv[2])
    for text in faults:
        print(text)
    print(f"{seen} messages, {len(faults)} faults")
    sys.exit(1 if faults or seen == 0 else 0)
