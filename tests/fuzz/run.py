#!/usr/bin/env python3
"""Fuzzes the readers, the evaluator and the allowance: python3 tests/fuzz/run.py MINUTES [TARGET...]

Needs the stable compiler and a C++ compiler for libFuzzer, and no other tool; `cargo fuzz run --fuzz-dir tests/fuzz
--sanitizer none TARGET` does the same where that is installed. Without targets all run, one after another, each for so
many minutes. New inputs gather in tests/fuzz/target/corpus; what stops a target goes to tests/fuzz/target/found. The
small corpora beside this file are what every run starts from: add what it found there, once it is mended.

The last lines are one for each target: minutes, executions, inputs kept, and what it found.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

FUZZ = Path(__file__).resolve().parent
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", FUZZ / "target"))
# libFuzzer's counters and comparisons, put in by LLVM's own pass: no nightly compiler is needed.
FLAGS = (
    "--cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 "
    "-Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table "
    "-Cllvm-args=-sanitizer-coverage-trace-compares"
)
TRIPLE = "x86_64-unknown-linux-gnu"


def build(names):
    # With a target triple the flags stay off build scripts and macros.
    env = dict(os.environ, RUSTFLAGS=FLAGS, CARGO_TARGET_DIR=str(TARGET))
    subprocess.run(["cargo", "build", "--release", "--target", TRIPLE, *(f"--bin={name}" for name in names)], cwd=FUZZ, env=env, check=True)


def fuzz(name, minutes):
    """Runs one target and says what came of it."""
    gathered, found = TARGET / "corpus" / name, TARGET / "found" / name
    gathered.mkdir(parents=True, exist_ok=True)
    found.mkdir(parents=True, exist_ok=True)
    words = FUZZ / "words" / f"{name}.txt"
    command = [
        str(TARGET / TRIPLE / "release" / name), str(gathered), str(FUZZ / "corpus" / name), f"-max_total_time={round(minutes * 60)}",
        "-timeout=10", "-rss_limit_mb=2048", "-max_len=16384", "-print_final_stats=1", f"-artifact_prefix={found}/",
    ] + ([f"-dict={words}"] if words.is_file() else [])
    ran = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace")
    executions = re.search(r"stat::number_of_executed_units: (\d+)", ran.stdout)
    seconds = re.search(r"Done \d+ runs in (\d+) second", ran.stdout)
    coverage = re.findall(r"cov: (\d+)", ran.stdout)
    stops = sorted(path.name for path in found.iterdir())
    if ran.returncode != 0:
        print(ran.stdout[-4000:])
    return (
        f"{name:14} {int(seconds.group(1)) / 60 if seconds else 0:5.1f} min {executions.group(1) if executions else '?':>10} executions "
        f"{coverage[-1] if coverage else '?':>6} edges {len(list(gathered.iterdir())):>6} inputs kept, "
        f"{'stopped: ' + ' '.join(stops) if stops else 'nothing found'}"
    )


def main(arguments):
    if not arguments or not re.fullmatch(r"[\d.]+", arguments[0]):
        print(__doc__)
        return 2
    names = arguments[1:] or sorted(path.stem for path in (FUZZ / "fuzz_targets").glob("*.rs"))
    build(names)
    lines = []
    for name in names:
        lines.append(fuzz(name, float(arguments[0])))
        print(lines[-1], flush=True)
    return 1 if any("stopped" in line for line in lines) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
