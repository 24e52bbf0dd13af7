"""The least penalised cost over all partitions, by libraries and code that have nothing to do with this project.

Usage: partitions.py CASES.json    with [{"values": [...], "penalty": p, "bound": b or null, "changes": [...]}, ...]

Prints one line for each case and way to the optimum: number of the case, name of the way, the cost of the partition it found and the changes (index of the
first sample of each segment after the first). The line "given" is for the changes in the case itself. Costs are
worked out here from the partition, by the definition and with exact sums, so only the partitions are the libraries'.
"""

import json
import math
import sys

import numpy as np


def squares(values):
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values)


def bounded(values, bound):
    """The least of sum(min((y - level)^2, bound^2)): between neighbouring ends of the windows y ± bound the samples
    within reach are the same, and the best level for them is their mean."""
    values = np.asarray(values)
    ends = np.unique(np.concatenate([values - bound, values + bound]))
    middles = (ends[1:] + ends[:-1]) / 2
    inside = np.abs(values[None, :] - middles[:, None]) < bound
    counts = inside.sum(axis=1)
    levels = (inside * values).sum(axis=1)[counts > 0] / counts[counts > 0]
    return min(math.fsum(np.minimum((values - level) ** 2, bound**2)) for level in levels)


def cost(values, penalty, bound, changes):
    starts, ends = [0, *changes], [*changes, len(values)]
    own = squares if bound is None else lambda part: bounded(part, bound)
    return math.fsum(own(values[a:b]) for a, b in zip(starts, ends)) + penalty * len(changes)


def by_skchange(values, penalty):
    from skchange.detectors import FPOP

    return [int(change) for change in FPOP(penalty=penalty).fit_predict(np.array(values).reshape(-1, 1))]


def by_ruptures(values, penalty):
    import ruptures

    # A linear kernel is the squared loss; about a level near the values it keeps its digits.
    near = np.array(values) - values[0]
    found = ruptures.KernelCPD(kernel="linear", min_size=1, jump=1).fit(near).predict(pen=penalty)
    return [int(change) for change in found[:-1]]


def by_programme(values, penalty, bound):
    """Optimal partitioning (Jackson et al., IEEE Signal Process. Lett. 12 (2005) 105) under the bounded loss."""
    values = np.asarray(values) - values[0]
    ends = np.unique(np.concatenate([values - bound, values + bound]))
    middles = (ends[1:] + ends[:-1]) / 2
    count = len(values)
    best, start_of = [-penalty], [0]
    # For each start so far and each interval: sums over the samples since.
    weight, total, square, beyond = (np.zeros((count, len(middles))) for _ in range(4))
    for end in range(1, count + 1):
        value = values[end - 1]
        inside = np.abs(value - middles) < bound
        weight[:end] += inside
        total[:end] += inside * value
        square[:end] += inside * value**2
        beyond[:end] += ~inside * bound**2
        some = np.maximum(weight[:end], 1)
        stretches = (square[:end] - total[:end] ** 2 / some + beyond[:end]).min(axis=1)
        costs = np.array(best) + penalty + stretches
        start_of.append(int(costs.argmin()))
        best.append(float(costs.min()))
    changes, at = [], start_of[count]
    while at > 0:
        changes.append(at)
        at = start_of[at]
    return changes[::-1]


def ways(values, penalty, bound):
    if bound is None:
        return {"skchange": by_skchange(values, penalty), "ruptures": by_ruptures(values, penalty)}
    return {"programme": by_programme(values, penalty, bound)}


def main():
    with open(sys.argv[1]) as file:
        cases = json.load(file)
    for number, case in enumerate(cases):
        values, penalty, bound = case["values"], case["penalty"], case["bound"]
        for name, changes in {"given": case["changes"], **ways(values, penalty, bound)}.items():
            print(number, name, repr(cost(values, penalty, bound, changes)), *changes)


if __name__ == "__main__":
    main()
