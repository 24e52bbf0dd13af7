"""Writes a long log: a handheld board fed for more than a day, read a hundred times a second.

    python long_log.py ROWS FILE

Off, standby, the stages of a boot, then a running level that changes now and then and has a short peak every half hour;
normal noise on all of it, volts rounded to 0.1 mV and amps to 0.1 mA. Always the same for the same number of rows.
"""

import sys

import numpy as np
import polars

# Start in seconds, amps, standard deviation in amps.
BOOT = [(0, 0.0, 0.0002), (20, 0.015, 0.0005), (60, 0.092, 0.004), (60.4, 0.31, 0.01), (63, 0.72, 0.12)]
RUNNING = [0.47, 0.5, 0.44, 0.53, 0.48]
FED_FROM = 20
SET_VOLTS = 4.08
LEAD_OHMS = 0.05


def main():
    rows, path = int(sys.argv[1]), sys.argv[2]
    random = np.random.default_rng(1)
    index = np.arange(rows)
    time = index / 100
    amps, spread = np.zeros(rows), np.zeros(rows)
    running_from = 77
    length = max((time[-1] - running_from) / 15, 1)
    stages = BOOT + [(running_from + i * length, RUNNING[i % len(RUNNING)], 0.008) for i in range(15)]
    for start, level, noise in stages:
        amps[time >= start], spread[time >= start] = level, noise
    amps += spread * random.standard_normal(rows)
    peaks = (time > running_from) & (index % 180_000 == 17)
    amps[peaks] += 0.4
    fed = time >= FED_FROM
    amps = np.where(fed, np.abs(amps), 0.0)
    volts = np.where(fed, SET_VOLTS - LEAD_OHMS * amps + 0.0003 * random.standard_normal(rows), 0.0)
    table = polars.DataFrame({"t_s": time, "volts": volts, "amps": amps})
    with open(path, "wb") as log:
        log.write(b"# log: 1\n# board: wren-4\n# serial: HB-0977\n# set_v: 4.08\n# limit_a: 2.5\n")
        table.write_csv(log, float_precision=4)


main()
