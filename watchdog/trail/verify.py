#!/usr/bin/env python3
"""Verify a Pinfold trail without Pinfold: verify.py SESSION-FOLDER [HEAD]

Checks the hash chain of events.jsonl, the frames of intake.pfi and the copied
files, with the standard library alone. It does not check the seal's signature.
"""
import hashlib, json, os, sys


def sha(data):
    return hashlib.sha256(data).hexdigest()


folder, head = sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else None
bad, prev, seen, sealed = [], "0" * 64, [], False
intake = open(os.path.join(folder, "intake.pfi"), "rb").read()
end = 16
if intake[:end] != b"PFINTAKE\x01\0\0\0\0\0\0\0":
    bad.append("intake.pfi: not the header of format 1")
raw_lines = open(os.path.join(folder, "events.jsonl"), "rb").read().split(b"\n")
if raw_lines.pop() != b"":
    bad.append("events.jsonl: ends inside a line")
if not raw_lines:
    bad.append("events.jsonl: there is no line in it")
for n, raw in enumerate(raw_lines, 1):
    try:
        line = json.loads(raw)
        body = line["body"]
        if line["prev"] != prev or line["seq"] != n:
            bad.append(f"events.jsonl line {n}: does not follow the line before it")
        if n == 1 and (line["kind"] != "session" or body["format"] != 1):
            bad.append("events.jsonl line 1: no first line of format 1")
        if sealed:
            bad.append(f"events.jsonl line {n}: stands after the seal")
        sealed = sealed or line["kind"] == "seal"
        if line["kind"] == "intake":
            start = body["offset"] + 4
            frame = intake[start:start + body["length"]]
            if body["offset"] != end or intake[end:start] != len(frame).to_bytes(4, "little") or sha(frame) != body["sha256"]:
                bad.append(f"intake.pfi frame {body['frame']}: altered")
            end = start + body["length"]
        for f in body["files"] if n == 1 else []:
            if sha(open(os.path.join(folder, "files", f["name"]), "rb").read()) != f["sha256"]:
                bad.append(f"files/{f['name']}: altered")
    except (ValueError, KeyError, TypeError, OSError) as err:
        bad.append(f"events.jsonl line {n}: {err!r}")
    prev = sha(raw)
    seen.append(prev)
if sealed and len(intake) != end:
    bad.append("intake.pfi: bytes after the last frame")
if head and head not in seen:
    bad.append("the given head is nowhere in the chain")
how = "sealed, by a signature that is not checked here" if sealed else "NOT SEALED: its end may have been cut off"
print(*bad, f"{len(seen)} lines, head {prev}, {how}", sep="\n")
sys.exit(1 if bad else 0)
