"""What a keeper would write: takes readings from the broker, puts them into SQLite, commits once a second.

usage: keeper.py PORT FILE END_TOPIC DONE_TOPIC [join]
Stops at a message on END_TOPIC: commits, says so on DONE_TOPIC. Prints: rows, processor seconds and seconds since
"ready". Keeps a session of the name of FILE at the broker; "join" only begins it.
"""
import json
import os
import resource
import sqlite3
import sys
import time

import paho.mqtt.client as mqtt


def cpu_s():
    use = resource.getrusage(resource.RUSAGE_SELF)
    return use.ru_utime + use.ru_stime


def main(port, path, end_topic, done_topic, join=None):
    db = sqlite3.connect(path, check_same_thread=False)
    db.execute("CREATE TABLE IF NOT EXISTS reading(topic TEXT, t_ms INTEGER, value REAL)")
    state = {"rows": 0, "committed": time.monotonic(), "cpu": 0.0, "s": 0.0}
    client = mqtt.Client("bench-" + os.path.basename(path), clean_session=False)

    def on_message(client, userdata, message):
        if message.topic == end_topic:
            db.commit()
            client.publish(done_topic, "1", qos=1)
            state["cpu"] = cpu_s() - state["cpu"]
            state["s"] = time.monotonic() - state["s"]
            client.disconnect()
            return
        reading = json.loads(message.payload)
        db.execute("INSERT INTO reading VALUES(?,?,?)", (message.topic, reading["t"], reading["v"]))
        state["rows"] += 1
        if time.monotonic() - state["committed"] >= 1:
            db.commit()
            state["committed"] = time.monotonic()

    # What waits at the broker comes with the connection, before the subscription is confirmed.
    def on_connect(client, userdata, flags, rc):
        state["cpu"] = cpu_s()
        state["s"] = time.monotonic()
        client.subscribe("bench/#", 1)
        print("ready", flush=True)

    def on_subscribe(client, userdata, mid, granted):
        if join:
            client.disconnect()

    client.on_message = on_message
    client.on_subscribe = on_subscribe
    client.on_connect = on_connect
    client.connect("127.0.0.1", port)
    client.loop_forever()
    print("rows %d cpu_s %.3f s %.3f" % (state["rows"], state["cpu"], state["s"]))


main(int(sys.argv[1]), *sys.argv[2:])
