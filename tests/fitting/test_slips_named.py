"""How many slips are named in a register of 100 records of which 8 in 100 are spoiled, over forty draws or the first
sixteen of them.

The shares and the threshold of doubts.py were settled on these draws among others, so the test guards what they reach
and is no proof of it. On 160 draws taken once that was settled: 97 % of slips named with the gauge known and 80 %
without, 96 % and 93 % of them with the right cause, swapped filters 50 of 112 and 43 of 112, sound records accused
0.6 % and 0.9 %.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from calib.fitting import fit
from tests.counts import share
from tests.scenes.population import SCENES, recorded, units, without_wire

DRAWS, RECORDS, SPOILED = share(16, 40), 100, 0.08
CAUSE = {
    "half resistance": "resistance of half",
    "half voltage": "voltage of half",
    "decimal resistance": "resistance ten",
    "decimal current": "rated current ten",
    "filter": "filter swapped",
    "other current": "the rated current is off",
}


def tally(*, wire: bool) -> Counter:
    """Slips made, named and rightly named, swapped filters apart; sound records, and those accused."""
    found: Counter = Counter()
    scene = SCENES["ordinary"]
    for draw in range(DRAWS):
        rng = np.random.default_rng([7, draw])
        known = recorded(scene, units(scene, RECORDS, rng), SPOILED, rng)
        suspects = (
            fit(known if wire else without_wire(known)).suspects().set_index(["contributor", "unit"])["likely_slip"]
        )
        for record in known.to_dict("records"):
            said = suspects.get((record["contributor"], record["unit"]))
            kind = {"": "sound", "filter": "filter"}.get(record["slip"], "slip")
            found[kind] += 1
            found[f"{kind} named"] += said is not None
            found[f"{kind} right"] += said is not None and said.startswith(CAUSE.get(record["slip"], "-"))
    return found


@pytest.mark.parametrize(("wire", "least"), [(True, 0.90), (False, 0.70)])
def test_most_slips_are_named_with_their_cause_and_few_sound_records_accused(wire, least):
    found = tally(wire=wire)
    assert found["slip named"] >= least * found["slip"]
    assert found["slip right"] >= 0.8 * found["slip named"]
    assert found["filter named"] >= 0.3 * found["filter"]
    assert found["sound named"] <= 0.02 * found["sound"]
