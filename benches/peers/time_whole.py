"""Times whole processes, one after the other: feedtale and whole_job.py on a long log, and feedtale on a short one.

    python time_whole.py FEEDTALE FOLDER

FOLDER holds long.csv. Of each the least of several runs counts, for what is slower was disturbed; the first run of
Python, which compiles, is left out.
"""

import os
import statistics
import sys
import time
from pathlib import Path

RUNS = 5
STARTS = 100
SHORT = "logs/samples/harrow-13-full-boot.csv"


def run(words):
    """Seconds on the clock, seconds of processor time and peak memory in bytes."""
    begin = time.perf_counter()
    child = os.posix_spawnp(words[0], words, os.environ, file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)])
    _, status, usage = os.wait4(child, 0)
    wall = time.perf_counter() - begin
    if os.waitstatus_to_exitcode(status) != 0:
        sys.exit(f"{' '.join(words)} failed")
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024


def least(runs):
    return [min(column) for column in zip(*runs)]


def main():
    feedtale, folder = sys.argv[1], Path(sys.argv[2])
    log = folder / "long.csv"
    size = log.stat().st_size
    python_job = [sys.executable, str(Path(__file__).with_name("whole_job.py")), str(log), str(folder / "peer.png")]
    own_job = [feedtale, "plot", str(log), "--output", str(folder / "own.png"), "--force"]
    run(python_job)
    pairs = [(run(python_job), run(own_job)) for _ in range(RUNS)]
    python, own = (least(runs) for runs in zip(*pairs))
    print(f"log to verdict and picture, {size / 1e6:.0f} MB, least of {RUNS}")
    print(f"{'':<10} {'seconds':>8} {'processor':>10} {'peak MB':>8} {'of file':>8}")
    for name, (wall, processor, memory) in (("Python", python), ("feedtale", own)):
        print(f"{name:<10} {wall:>8.2f} {processor:>10.2f} {memory / 1e6:>8.0f} {memory / size:>8.2f}")
    print(f"{'ratio':<10} {python[0] / own[0]:>8.1f} {python[1] / own[1]:>10.1f} {python[2] / own[2]:>8.1f}")
    starts = sorted(run([feedtale, "diagnose", SHORT])[0] * 1e3 for _ in range(STARTS))
    seconds = Path(SHORT).read_text().rstrip().rsplit("\n", 1)[1].split(",")[0]
    print(f"diagnose of {seconds} s of log, whole process, {STARTS} runs: least {starts[0]:.1f} ms, "
          f"median {statistics.median(starts):.1f} ms, 95th {starts[int(STARTS * 0.95) - 1]:.1f} ms")


main()
