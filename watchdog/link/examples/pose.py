#!/usr/bin/env python3
"""Publishes a pose a hundred times a second: python3 pose.py HOST PORT VEHICLE"""
import json
import os
import sys
import time

import paho.mqtt.client as mqtt

host, port, vehicle = sys.argv[1], int(sys.argv[2]), sys.argv[3]
args = {"callback_api_version": mqtt.CallbackAPIVersion.VERSION1} if hasattr(mqtt, "CallbackAPIVersion") else {}
client = mqtt.Client(**args)
client.connect_async(host, port, keepalive=2)
client.loop_start()
tracker, seq = "tracker-%d" % os.getpid(), 0  # a new id each time the tracker starts
while True:
    seq += 1
    client.publish("pinfold/%s/pose" % vehicle, json.dumps({
        "stamp": time.monotonic(), "seq": seq, "tracker": tracker, "confidence": 1.0,
        "position": {"x": 1.0, "y": 2.0, "z": 0.0},  # metres, from your tracker
        "orientation": {"w": 1.0, "x": 0.0, "y": 0.0, "z": 0.0}}), qos=0)
    time.sleep(0.01)
