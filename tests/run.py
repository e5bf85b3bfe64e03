#!/usr/bin/env python3
"""Everything that is checked, in one command: python3 tests/run.py

It sets itself up on a Debian-like machine that has Rust and Python 3: pinned packages go into .venv, the system tools of
TOOLS are installed. Then: format, lints, tests, documentation, the samples made, and each script of tests/outside that has
a `main(out_dir)`.

An outside check is run as `python tests/outside/NAME.py OUT_DIR` from the top of the repository, exits non-zero when it
failed, and says what it did in lines such as `seams: 12 passed, 0 failed` or `seams: not run: no such tool`.

The last line is `N passed, N failed`. Whatever did not run has failed. `python3 tests/run.py WORD...` runs only the steps
whose name holds one of the words.
"""

import hashlib
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OUTSIDE = ROOT / "tests" / "outside"
REQUIREMENTS = OUTSIDE / "requirements.txt"
VENV = ROOT / ".venv"
TOOLS_DIR = VENV / "tools"
OUT = ROOT / "out" / "samples"
OAKTAG = ROOT / "target" / "release" / "oaktag"

# The command that an outside check calls, and the Debian package that brings it.
TOOLS = {"chromium": "chromium", "hp2xx": "hp2xx", "qpdf": "qpdf"}


def sample_commands():
    """The command lines that make the samples, each a list; they write into OUT. The outside checks measure what is there."""
    people = sorted(str(path.relative_to(ROOT)) for path in (ROOT / "samples").glob("*.measures.kdl"))
    make = [OAKTAG, "make", "samples/evening-chorus.style.kdl", "-o", str(OUT)]
    # One device for every language that a drawing device of the samples has; tests/formats_jobs.rs has their jobs.
    others = ["projector", "roll-inkjet", "home-printer-a4", "home-printer-letter", "roll-pen-plotter", "old-pen-plotter", "interchange"]
    # These two were measured: their files hold a correction.
    plotter, cutter = "samples/wardrobe-plotter.device.kdl", "samples/wardrobe-cutter.device.kdl"
    more = ["--quarter-scale", "projector", "--nest", plotter, "roll-inkjet", "interchange"]
    return [[*make, "--measures", *people, "--device", plotter, cutter, *others, *more]]


class Step:
    """One line of the summary."""

    def __init__(self, name):
        self.name, self.passed, self.failed, self.note = name, 0, 0, ""
        self.began, self.seconds = time.monotonic(), 0.0

    def not_run(self, why):
        self.failed += 1
        self.note = f"not run: {why}"
        return self

    def ended(self):
        self.seconds = time.monotonic() - self.began
        return self


def run(command, env=None, quiet=False):
    """Runs a command, shows what it prints as it comes, and returns its exit code and that text."""
    if not quiet:
        print("$ " + " ".join(map(str, command)), flush=True)
    try:
        process = subprocess.Popen(
            command, cwd=ROOT, env=env, text=True, errors="replace", stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
    except OSError as error:
        print(error, flush=True)
        return 127, str(error)
    lines = []
    for line in process.stdout:
        lines.append(line)
        if not quiet:
            print(line, end="", flush=True)
    return process.wait(), "".join(lines)


def is_root():
    return os.geteuid() == 0


def apt_install(packages):
    """Installs Debian packages: as root by apt-get, otherwise unpacked with all that they need into .venv/tools."""
    if shutil.which("apt-get") is None:
        return
    env = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    if is_root():
        run(["apt-get", "update", "-q"], env, quiet=True)
        run(["apt-get", "install", "-y", "-q", "--no-install-recommends", *packages], env, quiet=True)
        return
    code, plan = run(["apt-get", "install", "-s", "--no-install-recommends", *packages], env, quiet=True)
    needed = re.findall(r"^Inst (\S+)", plan, re.M) if code == 0 else packages
    TOOLS_DIR.mkdir(parents=True, exist_ok=True)
    for package in needed:
        folder = TOOLS_DIR / "packages"
        folder.mkdir(exist_ok=True)
        subprocess.run(["apt-get", "download", package], cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for file in folder.glob(f"{package}_*.deb"):
            run(["dpkg", "-x", str(file), str(TOOLS_DIR)], quiet=True)


def path_with_tools():
    """The environment of the outside checks: tools that were unpacked without root are found too."""
    env = dict(os.environ)
    programs = [TOOLS_DIR / "usr/bin", TOOLS_DIR / "usr/sbin"]
    libraries = [p for p in TOOLS_DIR.glob("usr/lib/*-linux-gnu*")] + [TOOLS_DIR / "usr/lib"]
    env["PATH"] = os.pathsep.join([str(p) for p in programs if p.is_dir()] + [env.get("PATH", "")])
    if libraries and TOOLS_DIR.is_dir():
        env["LD_LIBRARY_PATH"] = os.pathsep.join([*map(str, libraries), env.get("LD_LIBRARY_PATH", "")]).rstrip(os.pathsep)
    env["PYTHONDONTWRITEBYTECODE"] = "1"
    return env


def set_up_tools():
    """Every tool of TOOLS found, or a failure that names it."""
    step = Step("tools")

    def absent():
        path = path_with_tools()["PATH"]
        return {tool: package for tool, package in TOOLS.items() if shutil.which(tool, path=path) is None}

    missing = absent()
    if missing:
        print("installing " + ", ".join(sorted(missing.values())), flush=True)
        apt_install(sorted(set(missing.values())))
        missing = absent()
    step.passed = len(TOOLS) - len(missing)
    step.failed = len(missing)
    step.note = "".join(f"{tool}: not run: not found, its Debian package is {package}; " for tool, package in missing.items()).rstrip("; ")
    return step.ended()


def venv_python():
    return VENV / "bin" / "python"


def set_up_python():
    """The pinned packages in .venv, renewed when the list changes."""
    step = Step("python packages")
    digest = hashlib.sha256(REQUIREMENTS.read_bytes() + sys.version.encode()).hexdigest()
    stamp = VENV / "requirements.sha256"
    if not (stamp.is_file() and stamp.read_text() == digest and venv_python().exists()):
        make = [sys.executable, "-m", "venv", "--clear", str(VENV)]
        if run(make)[0] != 0:
            apt_install(["python3-venv"])
            if run(make)[0] != 0:
                return step.not_run("no virtual environment; install the Debian package python3-venv").ended()
        pip = [venv_python(), "-m", "pip", "install", "-q", "--disable-pip-version-check", "-r", REQUIREMENTS]
        if run(pip)[0] != 0:
            return step.not_run("pip failed, see above").ended()
        stamp.write_text(digest)
    step.passed = 1
    return step.ended()


def plain(name, command, env=None):
    """A step that passes when its command does."""
    step = Step(name)
    code, _ = run(command, env)
    step.passed, step.failed = (1, 0) if code == 0 else (0, 1)
    return step.ended()


def cargo_tests():
    """cargo's own counts, added up over all test programs. A build that fails counts as one failure."""
    step = Step("tests")
    code, text = run(["cargo", "test", "--release", "--no-fail-fast"])
    for passed, failed in re.findall(r"^test result: \w+\. (\d+) passed; (\d+) failed", text, re.M):
        step.passed += int(passed)
        step.failed += int(failed)
    if step.passed == 0 or (code != 0 and step.failed == 0):
        step.failed += 1
    return step.ended()


def make_samples():
    """The samples, made afresh by the program itself."""
    step = Step("samples")
    shutil.rmtree(OUT, ignore_errors=True)
    OUT.mkdir(parents=True)
    commands = sample_commands()
    if not commands:
        return step.not_run("no sample is named").ended()
    # The program as the tests were built with it: `cargo build` would build all again with the features that the
    # libraries have without those of the tests.
    if run(["cargo", "test", "--release", "--quiet", "--no-run", "--test", "cli"])[0] != 0:
        step.failed += 1
        return step.ended()
    for command in commands:
        if run(command)[0] == 0:
            step.passed += 1
        else:
            step.failed += 1
    return step.ended()


def outside_checks():
    """The scripts of tests/outside that are checks: those with a `main(out_dir)`."""
    return [path for path in sorted(OUTSIDE.glob("*.py")) if re.search(r"^def main\(out_dir", path.read_text(), re.M)]


def counts_of(text):
    """Passed, failed and what did not run, from what an outside check printed."""
    counts = re.findall(r"^[^:\n]+: (\d+) passed, (\d+) failed\s*$", text, re.M)
    idle = re.findall(r"^[^:\n]+: not run\b.*$", text, re.M)
    return sum(int(p) for p, _ in counts), sum(int(f) for _, f in counts) + len(idle), "; ".join(idle)


def outside(path):
    """One outside check. One that says nothing, or exits as failed without saying how, counts as one failure."""
    step = Step(path.stem)
    if not venv_python().exists():
        return step.not_run("no .venv").ended()
    code, text = run([venv_python(), path.relative_to(ROOT), OUT], path_with_tools())
    step.passed, step.failed, step.note = counts_of(text)
    if step.failed == 0 and (code != 0 or step.passed == 0):
        step.failed = 1
    return step.ended()


def steps():
    """Name and action of every step, in order."""
    documentation = dict(os.environ, RUSTDOCFLAGS="-D warnings")
    yield "python packages", set_up_python
    yield "tools", set_up_tools
    yield "format", lambda: plain("format", ["cargo", "fmt", "--check"])
    yield "lints", lambda: plain("lints", ["cargo", "clippy", "--release", "--all-targets", "--", "-D", "warnings"])
    yield "tests", cargo_tests
    yield "documentation", lambda: plain("documentation", ["cargo", "doc", "--release", "--no-deps"], documentation)
    yield "samples", make_samples
    for path in outside_checks():
        yield path.stem, lambda path=path: outside(path)


def main(words):
    chosen = [(name, action) for name, action in steps() if not words or any(word in name for word in words)]
    done = []
    for name, action in chosen:
        print(f"\n== {name}", flush=True)
        done.append(action())
    print("\n== summary")
    for step in done:
        verdict = "passed" if step.failed == 0 else "FAILED"
        print(f"{step.name:24} {verdict}  {step.passed:5} passed {step.failed:4} failed {step.seconds:8.1f} s  {step.note}".rstrip())
    passed, failed = sum(s.passed for s in done), sum(s.failed for s in done)
    print(f"{passed} passed, {failed} failed", flush=True)
    return 0 if failed == 0 and passed > 0 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
