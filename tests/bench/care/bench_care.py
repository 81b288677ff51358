"""How well the rules of battery care find what is wrong: ``python -m tests.bench.care.bench_care``.

Quillmoor's demo year, then depot-years made from physics (seeds 0 to 199; the detectors were
tuned on seeds 1000 to 1059). Prints found and missed with 95 % intervals.
"""

from __future__ import annotations

import argparse
import time

from tagkit.demo.roster import TROUBLES, first_tags
from tests.bench.care.findings import find
from tests.bench.care.quillmoor import quillmoor
from tests.bench.care.score import score, table


def main() -> None:
    """Prints both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=200)
    years = parser.parse_args().years
    began = time.process_time()
    names = {str(tag): name for name, tag in first_tags().items()}
    found = find(quillmoor())
    print("Quillmoor's year")
    for (tag, cell), at in sorted(found.failing.items(), key=lambda entry: entry[1]):
        mine = names[tag] == TROUBLES.dying_cell and cell == TROUBLES.dying_cell_number
        print(f"  {at:%Y-%m-%d} {tag} cell {cell} failing ({'true' if mine else 'false alarm'})")
    for tag, moments in found.thirsty.items():
        mine = names[tag] == TROUBLES.boils_dry
        print(f"  {moments[0]:%Y-%m-%d} {tag} thirsty ({'true' if mine else 'false alarm'})")
    for pair, at in found.swapped.items():
        mine = {names[tag] for tag in pair} == set(TROUBLES.labels_swapped)
        print(f"  {at:%Y-%m-%d} {sorted(pair)} swapped ({'true' if mine else 'false alarm'})")
    total = score(range(years))
    print(f"\n{total.depot_years} depot-years, {total.battery_years:.0f} battery-years\n")
    print(table(total))
    print(f"\n{time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    main()
