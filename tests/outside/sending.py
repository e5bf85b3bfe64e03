"""Sending against a TCP listener and a pseudo-terminal on this machine that stall, drop and answer XOFF: every byte once, in
order, or a clear report of where it stopped. The far ends are Python's own sockets and terminals.

    python sending.py OUT_DIR
"""

import json
import os
import pty
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
OAKTAG = ROOT / "target" / "release" / "oaktag"
PARK = b"PU;SP0;\n"


def profile(links, tool='draws "cut"', tolerance="0.01 mm"):
    return f"""device "Sent to" {{
    language "hpgl2"
    tolerance "{tolerance}"
    medium "paper" kind="roll" width="914.4 mm" longest="5000 mm" margin="10 mm"
    tool "pen" {{ draws "sew" "notch" "grain" "fold" "drill" "line" "dart" "label" "square"; }}
    tool "other" {{ {tool}; }}
    {links}
}}
"""


def run(folder, *words, **more):
    return subprocess.run([OAKTAG, *map(str, words)], cwd=folder, capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL, **more)


class Listener(threading.Thread):
    """Takes what comes, slowly where asked, and closes the line after so many bytes."""

    def __init__(self, stall=0.0, drop=None):
        super().__init__(daemon=True)
        self.server = socket.socket()
        self.server.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        self.server.bind(("127.0.0.1", 0))
        self.server.listen(1)
        self.port = self.server.getsockname()[1]
        self.stall, self.drop, self.got = stall, drop, b""
        self.start()

    def run(self):
        line, _ = self.server.accept()
        while self.drop is None or len(self.got) < self.drop:
            some = line.recv(4096 if self.drop is None else min(4096, self.drop - len(self.got)))
            if not some:
                break
            self.got += some
            if self.stall and len(self.got) % 7 == 0:
                time.sleep(self.stall)
        if self.drop is not None:
            # Broken off hard: a reset, as a machine that was switched off gives.
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        line.close()
        self.server.close()


class Terminal(threading.Thread):
    """A serial line's far end. After `pause_at` bytes it says XOFF, waits, notes what still comes, and says XON; after
    `drop` bytes it goes away."""

    def __init__(self, pause_at=None, drop=None):
        super().__init__(daemon=True)
        self.far, self.near = pty.openpty()
        tty.setraw(self.near)
        self.name = os.ttyname(self.near)
        self.pause_at, self.drop, self.got, self.late, self.stop = pause_at, drop, b"", 0, False
        self.start()

    def run(self):
        while not self.stop:
            ready, _, _ = select.select([self.far], [], [], 0.05)
            if not ready:
                continue
            try:
                self.got += os.read(self.far, 256)
            except OSError:
                break
            if self.pause_at is not None and len(self.got) >= self.pause_at:
                self.pause_at = None
                os.write(self.far, b"\x13")
                time.sleep(0.2)
                while select.select([self.far], [], [], 0)[0]:
                    self.got += os.read(self.far, 65536)  # what was on its way
                before = len(self.got)
                time.sleep(0.8)
                while select.select([self.far], [], [], 0)[0]:
                    self.got += os.read(self.far, 65536)
                self.late = len(self.got) - before
                os.write(self.far, b"\x11")
            if self.drop is not None and len(self.got) >= self.drop:
                os.close(self.near)
                os.close(self.far)
                return

    def end(self):
        time.sleep(0.3)
        self.stop = True
        self.join(2)


def main(out_dir):
    del out_dir
    passed, failed = 0, []

    def counts(good, what):
        nonlocal passed
        passed += bool(good)
        if not good:
            failed.append(what)
            print(f"  failed: {what}")

    folder = Path(tempfile.mkdtemp(prefix="sending-"))
    try:
        checks(folder, counts)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"sending: {passed} passed, {len(failed)} failed")
    return 1 if failed else 0


def checks(folder, counts):
    device = folder / "d.device.kdl"
    device.write_text(profile(""))
    style, person = ROOT / "samples" / "bellringer-skirt.style.kdl", ROOT / "samples" / "maren-holt.measures.kdl"
    made = run(folder, "make", style, "--measures", person, "--device", device, "-o", "out")
    file = next(iter((folder / "out").rglob("*.plt")), None)
    counts(file is not None, made.stderr[-2000:])
    if file is None:
        return
    whole = file.read_bytes()
    journal = file.with_name(file.name + ".sent.json")
    parts = next(p for p in json.loads((file.parent / "proven.json").read_text()) if p["file"] == file.name)["parts"]
    strokes = whole.count(b"PU;\n")
    counts(sum(p["strokes"] for p in parts) == strokes, f"strokes {strokes}, parts {sum(p['strokes'] for p in parts)}")
    tcp = lambda port, **more: device.write_text(profile(f'link "tcp" host="127.0.0.1" port={port}', **more))
    serial = lambda name, flow: device.write_text(profile(f'link "serial" port="{name}" baud=115200 flow="{flow}"'))

    # Only to an address that the profile names; only what was proven.
    counts(run(folder, "send", file, device).returncode == 2, "sent without an address")
    ear = Listener()
    tcp(ear.port)
    dry = run(folder, "send", file, device, "--dry-run")
    counts(dry.returncode == 0 and "nothing was sent" in dry.stderr and not ear.got and not journal.exists(), "dry run")
    other = folder / "other.plt"
    other.write_bytes(whole)
    counts("was not proven" in run(folder, "send", other, device).stderr, "sent what was not proven")
    file.write_bytes(whole.replace(b"PD", b"PU", 1))
    counts("was changed" in run(folder, "send", file, device).stderr, "seeded: sent what was changed")
    file.write_bytes(whole)
    counts(ear.got == b"", "something was sent that was refused")

    # All of it, by a listener that stalls.
    ear.stall = 0.02
    done = run(folder, "send", file, device)
    ear.join(10)
    counts(done.returncode == 0 and ear.got == whole and "took all of it" in done.stderr, f"TCP, stalling: {done.stderr}")
    again = run(folder, "send", file, device)
    counts(again.returncode == 2 and "sent already" in again.stderr, "a second time unasked")

    # A line that drops: a report, nothing sent again blindly, and on from the start of a piece.
    for share in (0.05, 0.35, 0.8):
        journal.unlink(missing_ok=True)
        # Large work, so that the systems' buffers can't swallow all of it.
        ear = Listener(drop=int(share * len(whole)), stall=0.001)
        tcp(ear.port)
        lost = run(folder, "send", file, device)
        ear.join(10)
        counts(ear.got == whole[: len(ear.got)], "not the beginning of the file")
        if lost.returncode == 0:
            counts(False, f"a drop at {share} went unnoticed: {lost.stderr}")
            continue
        counts(lost.returncode == 2 and "line was lost" in lost.stderr and "bytes went out" in lost.stderr and "look at the sheet" in lost.stderr, f"report: {lost.stderr}")
        blind = run(folder, "send", file, device)
        counts(blind.returncode == 2 and "a part of this file was sent already" in blind.stderr, "half a job sent again blindly")
        ear = Listener()
        tcp(ear.port)
        asked = run(folder, "send", file, device, "--resume")
        if json.loads(journal.read_text())["stroke"] == strokes:
            # The systems' buffers took the rest before the line was seen to be lost.
            counts(asked.returncode == 2 and "every stroke" in asked.stderr, f"went on behind the end: {asked.stderr}")
            continue
        counts(asked.returncode == 2 and "--yes" in asked.stderr, "went on unasked")
        resumed = run(folder, "send", file, device, "--resume", "--yes")
        ear.join(10)
        counts(resumed.returncode == 0, resumed.stderr)
        # Head and tool, bytes of the file itself, then all of it from the first stroke of a piece.
        offsets = [found.start() for found in re.finditer(rb"PU-?\d+,-?\d+;", whole)]
        first = [offsets[sum(part["strokes"] for part in parts[:i])] for i in range(len(parts))]
        begun = [at for at in first if ear.got.endswith(whole[at:])]
        head = ear.got[: len(ear.got) - len(whole[begun[0] :])] if begun else b""
        tool = whole.rfind(b"SP", 0, begun[0]) if begun else 0
        counts(begun and head == whole[: whole.index(b"SP")] + whole[tool : whole.index(b"PU", tool)], f"not at a piece: {head}")
        # Seeded: from a stroke within a piece would not pass.
        counts(not any(ear.got.endswith(whole[at:]) for at in offsets if at < (begun or [0])[0]), "more than one start")

    # Taken up again from a piece that she names.
    journal.write_text(json.dumps({"digest": next(p for p in json.loads((file.parent / "proven.json").read_text()))["digest"], "to": "x", "state": "lost", "handed": 9, "stroke": 3}))
    # The one that is begun last: another may be begun with the file itself.
    begun = [part["piece"] for part in parts]
    name = max((piece for piece in begun if piece), key=begun.index)
    ear = Listener()
    tcp(ear.port)
    chosen = run(folder, "send", file, device, "--resume", "--from", name, "--yes")
    ear.join(10)
    counts(chosen.returncode == 0 and 0 < len(ear.got) < len(whole), f"--from: {chosen.stderr}")

    # Lost behind the last stroke there is nothing to go on with.
    journal.write_text(json.dumps({"digest": next(p for p in json.loads((file.parent / "proven.json").read_text()))["digest"], "to": "x", "state": "lost", "handed": len(whole) - 2, "stroke": strokes}))
    behind = run(folder, "send", file, device, "--resume", "--yes")
    counts(behind.returncode == 2 and "every stroke" in behind.stderr, f"behind the end: {behind.stderr}")

    # A machine that takes nothing is given up in the end.
    journal.unlink(missing_ok=True)
    deaf = socket.socket()
    deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    deaf.bind(("127.0.0.1", 0))
    deaf.listen(1)
    fine = folder / "fine"
    device.write_text(profile(f'link "tcp" host="127.0.0.1" port={deaf.getsockname()[1]}', tolerance="0.0001 mm"))
    run(folder, "make", style, "--measures", person, "--device", device, "-o", fine)
    large = next(fine.rglob("*.plt"))
    blob = large.read_bytes()
    large.write_bytes(blob * (1 + 12_000_000 // len(blob)))
    stuck = run(folder, "send", large, device, "--patience", "1", "--unproven")
    counts(stuck.returncode == 2 and "took nothing for 1 s" in " ".join(stuck.stderr.replace("│", " ").split()), f"patience: {stuck.stderr[-600:]}")
    deaf.close()

    # A serial line: whole, with XOFF in the middle, gone in the middle.
    for flow, pause_at in (("rts-cts", None), ("xon-xoff", 2000)):
        journal.unlink(missing_ok=True)
        far = Terminal(pause_at=pause_at)
        serial(far.name, flow)
        done = run(folder, "send", file, device)
        far.end()
        counts(done.returncode == 0 and far.got == whole, f"{flow}: {done.returncode}, {len(far.got)} of {len(whole)} bytes, {done.stderr[-300:]}")
        counts(far.late == 0, f"{far.late} bytes came after XOFF")
    journal.unlink(missing_ok=True)
    far = Terminal(drop=3000)
    serial(far.name, "xon-xoff")
    lost = run(folder, "send", file, device)
    counts(lost.returncode == 2 and "bytes went out" in lost.stderr and far.got == whole[: len(far.got)], f"terminal gone: {lost.returncode} {lost.stderr[-300:]}")

    # Stopped: whole instructions, then parked.
    journal.unlink(missing_ok=True)
    far = Terminal(pause_at=1500)
    serial(far.name, "xon-xoff")
    job = subprocess.Popen([OAKTAG, "send", file, device], cwd=folder, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    while len(far.got) < 1500 and job.poll() is None:
        time.sleep(0.01)
    time.sleep(0.4)
    job.send_signal(signal.SIGINT)
    said = job.communicate(timeout=60)[1]
    far.end()
    cut = far.got[: -len(PARK)]
    good = far.got.endswith(PARK) and whole.startswith(cut) and cut.rstrip(b"\n").endswith(b";")
    counts(job.returncode == 1 and good and "park" in said, f"stop: {job.returncode}, {far.got[-40:]}, {said[-300:]}")

    # What cuts asks first.
    journal.unlink(missing_ok=True)
    ear = Listener()
    knife = profile(f'link "tcp" host="127.0.0.1" port={ear.port}', tool='cuts "cut"')
    device.write_text(knife)
    asked = run(folder, "send", file, device)
    counts(asked.returncode == 2 and "Caution" in asked.stderr and not ear.got, "a knife unasked")
    agreed = run(folder, "send", file, device, "--yes")
    ear.join(10)
    counts(agreed.returncode == 0 and ear.got == whole, f"a knife, agreed: {agreed.stderr}")

    # A folder; a print queue (a stand-in for `lp` that keeps what it gets).
    journal.unlink(missing_ok=True)
    card = folder / "card"
    card.mkdir()
    device.write_text(profile(f'link "folder" path="{card}"\n    link "queue" name="plotter"'))
    counts(run(folder, "send", file, device).returncode == 0 and (card / file.name).read_bytes() == whole, "folder")
    (folder / "bin").mkdir()
    (folder / "bin" / "lp").write_text(f'#!/bin/sh\necho "$@" > {folder}/words\ncat > {folder}/printed\necho request id is plotter-1\n')
    (folder / "bin" / "lp").chmod(0o755)
    path = dict(os.environ, PATH=f"{folder}/bin:{os.environ['PATH']}")
    queued = run(folder, "send", file, device, "--to", "queue", "--again", env=path)
    printed = (folder / "printed").read_bytes() if (folder / "printed").exists() else b""
    counts(queued.returncode == 0 and printed == whole and "-d plotter" in (folder / "words").read_text(), f"queue: {queued.stderr}")


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
