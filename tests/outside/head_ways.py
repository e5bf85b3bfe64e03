"""The head's way on the proof sheet, in motion in a browser: Chromium (Debian) opens the page, the mouse presses Play, and
what is then seen is compared with what the page's own figures come to, reckoned here: python head_ways.py OUT_DIR

The head goes at the speed that is set, by the browser's clock; it stands where the path data, the tools' speeds and the
time put it, also where the slider is moved; it stops where Pause is pressed, and goes on; at the end all of the way is drawn, and the head is back at the
machine's zero. The browser is driven over the Chrome DevTools protocol, through its pipe. Pages with a seeded fault must
be found.
"""

import itertools
import json
import math
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from chromium import chromium
from jobs import Count, PERSON, ROOT

FLAGS = """--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
--disable-component-update --disable-sync --remote-debugging-pipe --window-size=1200,900""".split()
PATIENCE = 20  # s, for any one answer
SET = 0.3  # of all the way's time: where the slider is put

# What is seen of the first way of the page.
STATE = """(() => {
  const way = document.querySelector(".way"), [button, place] = way.querySelectorAll("button, input");
  const head = way.querySelector(".head"), box = button.getBoundingClientRect();
  return {clock: performance.now() / 1000, says: button.textContent, shown: box.width > 0, now: place.value / 1000,
    head: [+head.getAttribute("cx"), +head.getAttribute("cy")], seen: head.getBoundingClientRect().width > 0,
    button: [box.x + box.width / 2, box.y + box.height / 2],
    done: [...way.querySelectorAll(".done")].map(path => path.getAttribute("d"))};
})()"""
# The figures that the way stands on, as the file has them.
FIGURES = """(() => {
  const work = document.querySelector(".way .work");
  return {zero: work.dataset.zero, travel: +work.dataset.travel, lift: +work.dataset.lift,
    paths: [...work.children].map(path => [path.getAttribute("d"), +path.dataset.speed])};
})()"""


class Browser:
    """One page at a time, over the protocol's pipe: messages in JSON, each ended by a zero byte."""

    def __init__(self, program, folder):
        (self.theirs_in, self.write), (self.read, self.theirs_out) = os.pipe(), os.pipe()

        def pipes():
            # The browser reads from 3 and writes to 4; copies first, as either may be in the other's place.
            copies = os.dup(self.theirs_in), os.dup(self.theirs_out)
            os.dup2(copies[0], 3)
            os.dup2(copies[1], 4)

        command = [program, *FLAGS, f"--user-data-dir={folder}/profile", "about:blank"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": os.environ | {"HOME": folder}}
        self.process = subprocess.Popen(command, preexec_fn=pipes, close_fds=False, **quiet)
        os.close(self.theirs_in)
        os.close(self.theirs_out)
        self.numbers, self.rest, self.attached = itertools.count(1), b"", None
        page = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self.attached = self.ask("Target.attachToTarget", targetId=page, flatten=True)["sessionId"]

    def ask(self, method, **params):
        number = next(self.numbers)
        message = {"id": number, "method": method, "params": params}
        if self.attached:
            message["sessionId"] = self.attached
        os.write(self.write, json.dumps(message).encode() + b"\0")
        while True:
            while b"\0" not in self.rest:
                more = os.read(self.read, 1 << 16)
                if not more:
                    raise RuntimeError("the browser went away")
                self.rest += more
            text, _, self.rest = self.rest.partition(b"\0")
            answer = json.loads(text)
            if answer.get("id") == number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]

    def value(self, script):
        return self.ask("Runtime.evaluate", expression=script, returnByValue=True)["result"].get("value")

    def open(self, path):
        self.ask("Page.navigate", url=path.as_uri())
        self.until(lambda: self.value("document.readyState") == "complete" and self.value("!!document.querySelector('.way')"))

    def until(self, true):
        began = time.monotonic()
        while time.monotonic() < began + PATIENCE:
            if found := true():
                return found
            time.sleep(0.02)
        return None

    def press(self):
        self.value('document.querySelector(".way button").scrollIntoView({block: "center"})')
        x, y = self.value(STATE)["button"]
        for kind in ("mousePressed", "mouseReleased"):
            self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def close(self):
        os.close(self.write)
        os.close(self.read)
        self.process.kill()
        self.process.wait()


def legs(figures):
    """From where to where, from when to when: each stretch of the way as the page's figures come to."""
    zero = tuple(map(float, figures["zero"].split()))
    found, at, now = [], zero, 0.0

    def go(to, seconds):
        nonlocal at, now
        found.append((now, now + seconds, at, to))
        at, now = to, now + seconds

    for data, speed in figures["paths"]:
        pen = (0.0, 0.0)
        for stroke in data.split("m")[1:]:
            numbers = list(map(float, re.findall(r"-?\d+", stroke)))
            for index, step in enumerate(zip(numbers[::2], numbers[1::2])):
                pen = (pen[0] + step[0], pen[1] + step[1])
                if index == 0:
                    go(pen, math.dist(at, pen) / figures["travel"])
                    go(pen, figures["lift"])
                else:
                    go(pen, math.dist(at, pen) / speed)
    go(zero, math.dist(at, zero) / figures["travel"])
    return found, now


def place(found, now):
    for begin, end, a, b in found:
        if now <= end:
            share = (now - begin) / (end - begin) if end > begin else 1.0
            return [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
    return list(found[-1][3])


def check(browser, path):
    """What is wrong with the first way of a page. The head is looked at on its way, at rest and at the end."""
    browser.open(path)
    before = browser.value(STATE)
    if not before["shown"]:
        return ["there is no button to press"]
    figures = browser.value(FIGURES)
    found, total = legs(figures)
    wrong = []

    def stands(state, what):
        off = math.dist(state["head"], place(found, state["now"] * total))
        # A ten-thousandth of the way's time, as the slider's value is a decimal number, and a step of the grid.
        if off > 1.0 + 1e-4 * total * max(figures["travel"], *(speed for _, speed in figures["paths"])):
            wrong.append(f"{what} the head is {off:.1f} steps from where it should be")

    # Slow enough to be stopped in the middle.
    pace = min((pace for pace in (1, 10, 60, 300) if total / pace < 12), default=300)
    browser.value(f'document.querySelector(".way select").value = "{pace}"')
    # The slider is moved first, to where lines are drawn and the head moves along both axes.
    browser.value(f'{{const i = document.querySelector(".way input"); i.value = {1000 * SET}; i.dispatchEvent(new Event("input"))}}')
    stands(browser.value(STATE), "where the slider is put")
    browser.press()
    first = browser.until(lambda: (s := browser.value(STATE))["now"] > SET and s)
    if not first:
        return ["it does not begin to move"]
    time.sleep(0.6)
    second = browser.value(STATE)
    if not (first["says"] == second["says"] == "Pause" and second["seen"]):
        wrong.append(f"on its way the button says {second['says']!r}, head seen: {second['seen']}")
    if math.dist(first["head"], second["head"]) == 0:
        wrong.append("the head stands still")
    went, clock = (second["now"] - first["now"]) * total, second["clock"] - first["clock"]
    # Pictures come late where the machine is busy.
    if not 0.6 < went / (clock * pace) < 1.5:
        wrong.append(f"{went:.2f} s of the way in {clock:.2f} s at {pace} times")
    stands(second, "on its way")
    browser.press()
    resting = browser.value(STATE)
    time.sleep(0.2)
    later = browser.value(STATE)
    if later["says"] != "Play" or later["head"] != resting["head"] or later["now"] != resting["now"]:
        wrong.append("it does not pause")
    stands(later, "at rest")
    browser.value('document.querySelector(".way select").value = "300"')
    if later["says"] == "Play":
        browser.press()
    end = browser.until(lambda: (s := browser.value(STATE))["says"] == "Play" and s)
    if not end or abs(end["now"] - 1) > 1e-6:
        return [*wrong, "it does not come to its end"]
    if end["done"] != [data for data, _ in figures["paths"]]:
        wrong.append("at the end not all of the way is drawn")
    if math.dist(end["head"], found[-1][3]) > 1e-6:
        wrong.append("at the end the head is not at the machine's zero")
    return wrong


FAULTS = {
    "the head is left behind": ('head.setAttribute("cx", at[0]);', ""),
    "no pause": ("if (playing) return stop();", ""),
    "twice as fast": ("/ 1000 * speed.value", "/ 500 * speed.value"),
    "it ends half way": ("if (now < total) playing", "if (now < total / 2) playing"),
    "a stroke is never drawn": ('pass < leg.pass ? paths[pass].getAttribute("d")', "pass < leg.pass ? text"),
    "lines at half the speed": ("long, data: data.slice", "long: long.map(l => 2 * l), data: data.slice"),
}


def main(out_dir):
    program = chromium()
    if program is None:
        print("heads in motion: not run: chromium is absent, its Debian package is chromium")
        return 1
    tunic, sample = ROOT / "target/tmp/proof-sheets/tunic.html", Path(out_dir) / PERSON / "proof-sheet.html"
    if not tunic.is_file():
        print(f"heads in motion: not run: run cargo test first ({tunic.name})")
        return 1
    count = Count("heads in motion")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        browser = Browser(program, folder)
        for page in (tunic, sample):
            wrong = check(browser, page) if page.is_file() else ["the samples do not have it"]
            count.good(not wrong, f"{page.name}: {'; '.join(wrong)}")
        page, spoiled = tunic.read_text("utf-8"), Path(folder) / "spoiled.html"
        for fault, (text, by) in FAULTS.items():
            # The browser would not run a script that the policy does not name, which is a fault of its own below.
            bare = re.sub(r"; script-src '[^']*'", "; script-src 'unsafe-inline'", page)
            spoiled.write_text(bare.replace(text, by), "utf-8")
            count.good(text in page and check(browser, spoiled), f"the seeded fault was not found: {fault}")
        spoiled.write_text(page.replace("const way of", "const way  of"), "utf-8")
        count.good(check(browser, spoiled), "a script that the policy does not name was run")
        browser.close()
    return count.done()


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
