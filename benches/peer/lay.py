"""The same instances as `cargo bench --bench lay`, laid by the library spyrrow (PyPI, pinned in requirements.txt beside
this file), for densities side by side: python benches/peer/lay.py FILE... --seconds 20 --seed 1 --threads 2

Prints name, density, seconds and seconds of processor time."""

import argparse
import json
import resource
import time

import spyrrow


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("files", nargs="+")
    parser.add_argument("--seconds", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--threads", type=int, default=2)
    args = parser.parse_args()
    for name in args.files:
        with open(name, encoding="utf-8") as file:
            content = json.load(file)
        items = [
            spyrrow.Item(str(item["id"]), [tuple(point) for point in item["shape"]["data"]], item["demand"],
                         item["allowed_orientations"])
            for item in content["items"]
        ]
        instance = spyrrow.StripPackingInstance(content["name"], content["strip_height"], items)
        config = spyrrow.StripPackingConfig(early_termination=False, total_computation_time=args.seconds,
                                            num_workers=args.threads, seed=args.seed)
        began, used = time.time(), resource.getrusage(resource.RUSAGE_SELF).ru_utime
        solution = instance.solve(config)
        used = resource.getrusage(resource.RUSAGE_SELF).ru_utime - used
        print(f"{content['name']} {100 * solution.density:.2f} % {time.time() - began:.1f} s, {used:.1f} s of processor",
              flush=True)


if __name__ == "__main__":
    main()
