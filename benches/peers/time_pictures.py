"""Times matplotlib and datashader drawing the log that `cargo bench --bench picture` drew, and prints ratios to its time.

    python time_pictures.py LOG PICTURE.TXT
"""

import io
import sys
import time

import datashader
import datashader.transfer_functions as shade
import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import pandas
import polars


def least(repeats, work):
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def main():
    log, own_text = sys.argv[1:3]
    own = float(open(own_text).read().split()[-2])
    table = polars.read_csv(log, comment_prefix="#")
    time_s, volts, amps = (table[name].to_numpy() for name in ("t_s", "volts", "amps"))
    frame = pandas.DataFrame({"t_s": time_s, "volts": volts, "amps": amps})

    def with_matplotlib():
        figure, (upper, lower) = plt.subplots(2, 1, sharex=True, figsize=(16, 9), dpi=100)
        upper.plot(time_s, amps, linewidth=0.8)
        lower.plot(time_s, volts, linewidth=0.8)
        figure.savefig(io.BytesIO(), format="png")
        plt.close(figure)

    def with_datashader():
        for column, height in (("amps", 600), ("volts", 300)):
            canvas = datashader.Canvas(plot_width=1600, plot_height=height)
            shade.shade(canvas.line(frame, "t_s", column)).to_bytesio("png")

    with_datashader()  # compile
    for name, work in (("matplotlib", with_matplotlib), ("datashader", with_datashader)):
        seconds = least(5, work)
        print(f"{name:<12} {seconds:.4f} s  {seconds / own:6.1f} x feedtale")


main()
