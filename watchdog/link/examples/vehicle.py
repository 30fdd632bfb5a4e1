#!/usr/bin/env python3
"""A vehicle that moves only while it holds a permit. MQTT 3.1.1, paho-mqtt.

    python3 vehicle.py HOST PORT VEHICLE [KEYFILE]

With a key, as pinfold key --new makes it, only what is signed with it counts.
Needs paho-mqtt (Debian: python3-paho-mqtt). Copy Receiver as it is; put your
motors where drive() is. Local aviation rules, the site's own rules and a
hardware emergency stop come first: this is an added layer and not a certified
safety function.
"""
import hashlib
import hmac
import json
import os
import re
import sys
import threading
import time
from decimal import ROUND_FLOOR, Decimal

PERMIT = {"guard": str, "session": str, "seq": int, "go": bool, "stamp": Decimal, "valid": Decimal}
COMMAND = {"id": str, "seq": int, "action": str, "cause": str, "zone": str,
           "value": None, "limit": None, "stamp": Decimal, "valid": Decimal}
NAMES = ("guard", "session", "id")  # may not be empty
BOUND = {"permit": 1024, "command": 2048}
SECOND = 10**9
MAX_VALID = SECOND
MAX_STAMP = 4611686018 * SECOND
MAX_SEQ = 2**53 - 1


def nanoseconds(number):
    """Exact, and towards the past; huge exponents are cut short."""
    if number and number.adjusted() > 12:
        raise ValueError("beyond any clock")
    if number and number.adjusted() < -40:
        return -1 if number < 0 else 0
    return int((number * SECOND).to_integral_value(ROUND_FLOOR))


def once(pairs):
    members = dict(pairs)
    if len(members) != len(pairs):
        raise ValueError("a member stands twice")
    return members


def refuse(word):
    raise ValueError(word + " is no JSON")


def decode(kind, fields, payload):
    """Reads a message strictly; ValueError says why not."""
    if len(payload) > BOUND[kind]:
        raise ValueError("too large")
    m = json.loads(payload.decode("utf-8"), object_pairs_hook=once, parse_constant=refuse,
                   parse_float=Decimal, parse_int=Decimal)
    if not isinstance(m, dict) or len(m) > 48:
        raise ValueError("want an object of at most 48 members")
    for name in m:
        if name not in fields and name.lower() in fields:
            raise ValueError(name + " is misspelt")
    for name, want in fields.items():
        value = m[name] if name in m else refuse("a message without " + name)
        if want is str:
            ok = isinstance(value, str) and len(value.encode()) <= 64 and (value or name not in NAMES)
        elif want is bool:
            ok = isinstance(value, bool)
        elif want is None:
            ok = value is None or isinstance(value, Decimal)
        else:
            ok = isinstance(value, Decimal)
        if not ok:
            raise ValueError(name + " is wrong")
    if m["seq"].as_tuple().exponent != 0 or not 0 <= m["seq"] <= MAX_SEQ:
        raise ValueError("seq is wrong")
    if not 0 <= m["valid"] <= 1:
        raise ValueError("valid is out of range")
    m["stamp"], m["valid"] = nanoseconds(m["stamp"]), nanoseconds(m["valid"])
    if abs(m["stamp"]) > MAX_STAMP or m.get("action", "stop") not in ("stop", "land"):
        raise ValueError("out of range")
    return m


MEMBER, END = b',"sig":"', b'"}'
SIGNATURE = len(MEMBER) + 64 + len(END)


def digits(key, topic, body):
    """The signature of a message of a topic, up to where it stands in it."""
    return hmac.new(key, topic.encode() + b"\0" + body, hashlib.sha256).hexdigest().encode()


def signed(key, topic, payload):
    """Whether payload is signed with the key for the topic; without a key, all are."""
    body, rest = payload[:-SIGNATURE], payload[-SIGNATURE:]
    return key is None or hmac.compare_digest(rest, MEMBER + digits(key, topic, body) + END)


def sign(key, topic, payload):
    """payload, which ends with its brace, signed with the key for the topic."""
    return payload if key is None else payload[:-1] + MEMBER + digits(key, topic, payload[:-1]) + END


def read_key(path):
    """A key from a file that only its owner may open."""
    if os.stat(path).st_mode & 0o077:
        sys.exit(path + " may be opened by others than its owner: chmod 600 " + path)
    with open(path, "rb") as f:
        text = f.read().rstrip(b"\r\n")
    if not re.fullmatch(b"[0-9a-fA-F]{64}", text) or not text.strip(b"0"):
        sys.exit(path + " holds no key: want 64 hexadecimal digits, not all zeros")
    return bytes.fromhex(text.decode())


class Receiver:
    """Bytes in, "may move" out. now is always ns on the vehicle's own clock,
    the clock that stamps its poses. May be used by several threads. With a key,
    base is the beginning of the vehicle's topics, and everyone that of all."""

    def __init__(self, lost="stop", key=None, base="", everyone="pinfold/all"):
        self.lock, self.lost = threading.Lock(), lost
        self.key, self.base, self.everyone = key, base, everyone
        self.session, self.seq = "", 0
        self.go, self.stamp, self.valid = False, 0, 0
        self.aged = 0      # the greatest age the permit was seen at, ns
        self.former = []   # displaced sessions: (session, seq), the last eight
        self.latch = ""    # the command that holds the vehicle
        self.said_no = False  # a permit with go false was accepted since that command
        self.commands = []    # ids heard, the last 32

    def permit(self, payload, retained, now):
        with self.lock:
            if retained:  # a broker hands it out at any age
                return
            if not signed(self.key, self.base + "/permit", payload):
                return
            try:
                p = decode("permit", PERMIT, payload)
            except (ValueError, ArithmeticError, RecursionError):
                return  # the permit in force runs out by itself
            age = now - p["stamp"]
            if p["session"] != self.session and not self.adopt(p, age):
                return
            if p["seq"] <= self.seq:  # repeated, late or replayed
                return
            self.seq, self.stamp, self.valid = int(p["seq"]), p["stamp"], p["valid"]
            self.aged = 0
            self.go = p["go"] and age >= 0  # from the future: one of the clocks is wrong
            if not p["go"]:
                self.said_no = True
            elif self.go and self.said_no:
                self.latch = ""

    def adopt(self, p, age):
        """A session is taken up only by a fresh permit that says no."""
        if p["go"] or age < 0 or age > p["valid"]:
            return False
        last = max([seq for session, seq in self.former if session == p["session"]], default=0)
        if p["seq"] <= last:
            return False
        if self.session:
            self.former = (self.former + [(self.session, self.seq)])[-8:]
        self.session, self.seq, self.go = p["session"], last, False
        return True

    def command(self, payload, now):
        """Obeys, and returns what to publish on the ack topic, or None."""
        with self.lock:
            if not signed(self.key, self.base + "/command", payload):
                self.close("stop")  # whoever sent it: stopping is the safe side
                return None
            try:
                c = decode("command", COMMAND, payload)
            except (ValueError, ArithmeticError, RecursionError):
                self.close("stop")  # nobody sends that to make a vehicle go
                return None
            if c["id"] not in self.commands:
                self.commands = (self.commands + [c["id"]])[-32:]
                self.close(c["action"])
            elif self.latch:
                self.latch = max(self.latch, c["action"], key=("stop", "land").index)
            action = "land" if "land" in (self.latch, c["action"]) else "stop"
            stamp = Decimal(now) / SECOND
            ack = '{"id":%s,"stamp":%s,"action":"%s"}' % (json.dumps(c["id"]), format(stamp, "f"), action)
            return sign(self.key, self.base + "/ack", ack.encode())

    def all_command(self, payload, now):
        """The broker speaks for a watchdog that is gone: latches each time."""
        with self.lock:
            try:
                if not signed(self.key, self.everyone + "/command", payload):
                    raise ValueError("not signed")
                self.close(decode("command", COMMAND, payload)["action"])
            except (ValueError, ArithmeticError, RecursionError):
                self.close("stop")

    def close(self, action):
        self.latch = "land" if "land" in (self.latch, action) else "stop"
        self.said_no = False

    def may_move(self, now):
        """("go", "") or what to do instead and why. Ask at every turn."""
        with self.lock:
            if self.latch:
                return self.latch, "a command is latched"
            age = now - self.stamp
            if not self.session or not self.go:
                return self.lost, "no permit"
            if age < 0 or age > self.valid or self.valid == 0:
                self.go = False  # for good, wherever the clock goes from here
                return self.lost, "the permit is too old"
            if age < self.aged:  # the clock was set back: the permit grows no younger
                self.stamp, age = now - self.aged, self.aged
            self.aged = age
            return "go", ""


def drive(verdict, why):
    """Your motors. Called a hundred times a second."""


def main(host, port, vehicle, key=None):
    import paho.mqtt.client as mqtt
    base = "pinfold/" + vehicle
    receiver, clock = Receiver(key=key, base=base), time.monotonic_ns

    def on_connect(client, *_):
        client.subscribe([(base + "/permit", 0), (base + "/command", 0), ("pinfold/all/command", 1)])

    def on_message(client, _, m):
        if m.topic == base + "/permit":
            receiver.permit(m.payload, m.retain, clock())
        elif m.topic == base + "/command":
            ack = receiver.command(m.payload, clock())
            if ack:
                client.publish(base + "/ack", ack, qos=0)
        else:
            receiver.all_command(m.payload, clock())

    args = {}
    if hasattr(mqtt, "CallbackAPIVersion"):  # paho-mqtt 2
        args["callback_api_version"] = mqtt.CallbackAPIVersion.VERSION1
    client = mqtt.Client(**args)
    client.on_connect, client.on_message = on_connect, on_message
    client.reconnect_delay_set(1, 2)
    client.connect_async(host, port, keepalive=2)
    client.loop_start()
    seq, told = 0, None
    while True:
        now = clock()
        verdict = receiver.may_move(now)
        drive(*verdict)
        if verdict != told:
            told = verdict
            print(*verdict, flush=True)
        seq += 1  # a pose from your tracker, stamped by the same clock
        client.publish(base + "/pose", json.dumps({
            "stamp": now / SECOND, "seq": seq, "position": {"x": 1.0, "y": 1.0, "z": 0.0},
            "orientation": {"w": 1.0, "x": 0.0, "y": 0.0, "z": 0.0}}), qos=0)
        time.sleep(0.01)


if __name__ == "__main__":
    if len(sys.argv) not in (4, 5):
        sys.exit("usage: vehicle.py HOST PORT VEHICLE [KEYFILE]")
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3], read_key(sys.argv[4]) if len(sys.argv) > 4 else None)
