"""Works out the posterior of every exported case with pgmpy, exactly.

    posterior.py CASES.json > posterior.json

A case becomes a network: one node for the fault, one hidden node for the lasting error of
each instrument, and one node below them for each thing that was seen, with the states "as
seen" and "otherwise". The error is cut at every value at which some candidate's reading
would change to or from the one that was seen; inside a piece each reading is certain, so
nothing is approximated.
"""

import json
import math
import sys

import numpy as np
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork


def mark(dial, error):
    """The mark read with this error: to the nearest, halves away from zero, on the scale."""
    steps = (dial["exact"] + error * dial["error"]) / dial["step"]
    nearest = math.copysign(math.floor(abs(steps) + 0.5), steps)
    return min(max(int(nearest), 0), dial["last"])


def cuts(dial, seen):
    """The errors at which the reading comes to be the one seen, and ceases to be."""
    if "exact" not in (dial or {}) or "mark" not in seen or dial["error"] == 0:
        return []
    ends = [(seen["mark"] + half) * dial["step"] for half in (-0.5, 0.5)]
    errors = [(end - dial["exact"]) / dial["error"] for end in ends]
    return [error for error in errors if -1 < error < 1]


def shows(showing, seen, error):
    """Whether this is what would be seen."""
    if showing is None:
        return 0.0
    for kind in ("word", "position"):
        if kind in showing or kind in seen:
            return float(showing.get(kind) == seen.get(kind))
    return float(showing["range"] == seen["range"] and mark(showing, error) == seen["mark"])


def posterior(case):
    rates = np.array([candidate["rate"] for candidate in case["candidates"]])
    network = DiscreteBayesianNetwork()
    network.add_node("fault")
    network.add_cpds(TabularCPD("fault", len(rates), (rates / rates.sum()).reshape(-1, 1)))

    pieces = {}
    for seen in case["seen"]:
        if seen["instrument"] is not None:
            found = pieces.setdefault(seen["instrument"], {-1.0, 1.0})
            for showing in seen["distinct"]:
                found.update(cuts(showing, seen["seen"]))
    middles = {}
    for instrument, ends in pieces.items():
        ends = np.array(sorted(ends))
        middles[instrument] = (ends[1:] + ends[:-1]) / 2
        network.add_node(instrument)
        chances = ((ends[1:] - ends[:-1]) / 2).reshape(-1, 1)
        network.add_cpds(TabularCPD(instrument, len(chances), chances))

    evidence = {}
    for number, seen in enumerate(case["seen"]):
        name = f"seen {number}"
        instrument = seen["instrument"]
        errors = [0.0] if instrument is None else middles[instrument]
        rows = np.array([[shows(s, seen["seen"], e) for e in errors] for s in seen["distinct"]])
        as_seen = rows[seen["shows"]].reshape(-1)
        above = ["fault"] if instrument is None else ["fault", instrument]
        for node in above:
            network.add_edge(node, name)
        cards = [len(rates)] if instrument is None else [len(rates), len(errors)]
        network.add_cpds(TabularCPD(name, 2, np.array([1 - as_seen, as_seen]), above, cards))
        evidence[name] = 1

    network.check_model()
    answer = VariableElimination(network).query(
        ["fault"], evidence, elimination_order="MinFill", show_progress=False
    )
    faults = [candidate["fault"] for candidate in case["candidates"]]
    read = [seen["instrument"] for seen in case["seen"] if seen["instrument"] is not None]
    return {
        "case": case["case"],
        "hidden": sum(read.count(instrument) > 1 for instrument in pieces),
        "pieces": sum(len(m) for m in middles.values()),
        "posterior": {f: float(f"{p:.12g}") for f, p in zip(faults, answer.values) if p > 0},
    }


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        answers = [posterior(case) for case in json.load(file)]
    json.dump(answers, sys.stdout, indent=1)
    print()
