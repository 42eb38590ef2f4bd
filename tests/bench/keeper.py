"""What a keeper would write: takes readings from the broker, puts them into SQLite, commits once a second.

usage: keeper.py PORT FILE END_TOPIC DONE_TOPIC
Stops at a message on END_TOPIC: commits, says so on DONE_TOPIC. Prints: rows, processor seconds since "ready".
"""
import json
import resource
import sqlite3
import sys
import time

import paho.mqtt.client as mqtt


def cpu_s():
    use = resource.getrusage(resource.RUSAGE_SELF)
    return use.ru_utime + use.ru_stime


def main(port, path, end_topic, done_topic):
    db = sqlite3.connect(path, check_same_thread=False)
    db.execute("CREATE TABLE reading(topic TEXT, t_ms INTEGER, value REAL)")
    state = {"rows": 0, "committed": time.monotonic(), "cpu": 0.0}
    client = mqtt.Client("bench-keeper")

    def on_message(client, userdata, message):
        if message.topic == end_topic:
            db.commit()
            client.publish(done_topic, "1", qos=1)
            state["cpu"] = cpu_s() - state["cpu"]
            client.disconnect()
            return
        reading = json.loads(message.payload)
        db.execute("INSERT INTO reading VALUES(?,?,?)", (message.topic, reading["t"], reading["v"]))
        state["rows"] += 1
        if time.monotonic() - state["committed"] >= 1:
            db.commit()
            state["committed"] = time.monotonic()

    def on_subscribe(client, userdata, mid, granted):
        state["cpu"] = cpu_s()
        print("ready", flush=True)

    client.on_message = on_message
    client.on_subscribe = on_subscribe
    client.on_connect = lambda client, userdata, flags, rc: client.subscribe("bench/#", 1)
    client.connect("127.0.0.1", port)
    client.loop_forever()
    print("rows %d cpu_s %.3f" % (state["rows"], state["cpu"]))


main(int(sys.argv[1]), sys.argv[2], sys.argv[3], sys.argv[4])
