"""The whole job the way a Python script would do it: a log read, cut at its changes, judged and drawn.

    python whole_job.py LOG PICTURE

polars reads, skchange's functional pruning (FPOP) finds the exact change points, matplotlib draws. The judgement is far
simpler than feedtale's: the level and time of every stretch, and how high the board got.
"""

import sys

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import polars
from skchange.detectors import FPOP

log, picture = sys.argv[1:3]
table = polars.read_csv(log, comment_prefix="#")
time, volts, amps = (table[name].to_numpy() for name in ("t_s", "volts", "amps"))

# The scale of the noise by differences, which a change of level touches once.
noise = np.median(np.abs(np.diff(amps))) * 1.4826 / np.sqrt(2)
scaled = np.ascontiguousarray(amps / max(noise, 1e-9)).reshape(-1, 1)
found = FPOP(penalty=4 * np.log(len(amps)) + 6).fit_predict(scaled)
changes = np.asarray(found["ilocs"] if "ilocs" in found else found).reshape(-1).astype(int)
starts = np.concatenate([[0], changes])
levels = np.add.reduceat(amps, starts) / np.diff(np.append(starts, len(amps)))
print(f"{len(starts)} stretches, highest {levels.max():.3f} A, last {levels[-1]:.3f} A from {time[starts[-1]]:.2f} s")

figure, (upper, lower) = plt.subplots(2, 1, sharex=True, figsize=(16, 9), dpi=100)
upper.plot(time, amps, linewidth=0.8)
lower.plot(time, volts, linewidth=0.8)
upper.set_ylabel("A")
lower.set_ylabel("V")
lower.set_xlabel("s")
figure.savefig(picture)
