"""Times feedtale and its peers in turn on the signals that `cargo bench --bench segment -- --signals` wrote.

Usage: time_peers.py FOLDER [--all]

Three rounds, the least time of each; on a shared machine a slow moment then hits all alike. skchange is timed warm,
after its compilation. ruptures takes time with the square of the longest segment: with 20 changes in 1,000,000 samples
minutes, so that pair is left out unless --all is given, and 100,000 samples are timed instead.
"""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import ruptures
import skchange
from skchange.detectors import FPOP

ROUNDS = 3
SIGNALS = [(100_000, 20), (1_000_000, 20), (1_000_000, 1000)]


def feedtale():
    """Prints the table of the own benchmark and gives its seconds and changes found by (samples, changes, loss)."""
    run = subprocess.run(["cargo", "bench", "--quiet", "--bench", "segment"], capture_output=True, text=True, check=True)
    print(run.stdout)
    rows = [line.split() for line in run.stdout.splitlines()[1:] if line.strip()]
    return {(int(row[0]), int(row[1]), row[2]): (float(row[3]), int(row[6])) for row in rows}


def timed(work):
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def by_skchange(values):
    penalty = 2 * np.log(len(values))
    return len(FPOP(penalty=penalty).fit_predict(values.reshape(-1, 1)))


def by_ruptures(values):
    penalty = 2 * np.log(len(values))
    return len(ruptures.KernelCPD(kernel="linear", min_size=1, jump=1).fit(values).predict(pen=penalty)) - 1


def main():
    folder, every = Path(sys.argv[1]), "--all" in sys.argv
    signals = {key: np.fromfile(folder / f"signal-{key[0]}-{key[1]}.f64") for key in SIGNALS}
    by_skchange(signals[SIGNALS[0]][:1000])  # compiles
    best = {}

    def keep(key, result):
        best[key] = min(best.get(key, result), result)

    for round_number in range(ROUNDS):
        for key, result in feedtale().items():
            keep(key, result)
        for key, values in signals.items():
            for _ in range(3):
                keep((*key, "skchange"), timed(lambda: by_skchange(values)))
            slow = key == (1_000_000, 20)
            if (every if slow else True) and (round_number == 0 or not slow):
                keep((*key, "ruptures"), timed(lambda: by_ruptures(values)))

    print(f"skchange {skchange.__version__} FPOP (warm), ruptures {ruptures.__version__} KernelCPD, least of {ROUNDS} rounds")
    print(f"{'samples':>9} {'changes':>7} {'by':>8} {'seconds':>9} {'times feedtale':>14} {'found':>6}")
    for count, changes in SIGNALS:
        own = best[count, changes, "squares"]
        for by in ["squares", "bounded", "skchange", "ruptures"]:
            if (count, changes, by) not in best:
                print(f"{count:>9} {changes:>7} {by:>8}   not timed: takes minutes, see --all")
                continue
            seconds, found = best[count, changes, by]
            print(f"{count:>9} {changes:>7} {by:>8} {seconds:>9.4f} {seconds / own[0]:>14.1f} {found:>6}")
    ends = [best[10_000_000, changes, "squares"][0] / best[1_000_000, changes, "squares"][0] for changes in (20, 1000)]
    print(f"ten times the samples (1,000,000 to 10,000,000) take {ends[0]:.1f} and {ends[1]:.1f} times as long")


main()
