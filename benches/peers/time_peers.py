"""Times the peers on the signals that `cargo bench --bench segment` wrote, and prints ratios to its own times."""

import sys
import time
from pathlib import Path

import numpy as np
import ruptures
from skchange.detectors import FPOP


def least(repeats, work):
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - start)
    return best, result


def main():
    folder = Path(sys.argv[1])
    own = {}
    for line in (folder / "own.txt").read_text().splitlines():
        words = line.split()
        if len(words) == 7 and words[0] == "1000000" and words[2] == "squares":
            own[int(words[1])] = (float(words[3]), int(words[5]))
    if not own:
        sys.exit("no times of feedtale found in own.txt")
    for changes, (seconds, found) in own.items():
        values = np.fromfile(folder / f"signal-{changes}.f64")
        penalty = 2 * np.log(len(values))
        detector = FPOP(penalty=penalty)
        detector.fit_predict(values[:1000].reshape(-1, 1))  # compile
        def skchange():
            return FPOP(penalty=penalty).fit_predict(values.reshape(-1, 1))
        peer, result = least(5, skchange)
        print(f"{changes:>5} changes  skchange FPOP   {peer:.4f} s  {peer / seconds:7.1f} x feedtale  found {len(result)} and {found}")
        if changes == 1000:  # with 20 changes it takes minutes
            peer, result = least(1, lambda: ruptures.KernelCPD(kernel="linear", min_size=1).fit(values).predict(pen=penalty))
            print(f"{changes:>5} changes  ruptures Kernel {peer:.4f} s  {peer / seconds:7.1f} x feedtale  found {len(result) - 1}")


main()
