"""The figures that matter, in one run: ``python tests/benchmarks``. Prints; asserts nothing.

Each is told with its goal: met, not met, or that it cannot be measured here.
"""

import argparse
import importlib
import json
import logging
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from bench_daemons import CannotMeasure
from figures import Figure
from machine import description

SECTIONS = (
    "conversions", "response_virtual", "response_real", "lateness", "footprint", "start", "day",
)  # fmt: skip


def tell(name: str, *, quick: bool) -> list[dict[str, Any]]:
    """One section, a line at a time; its figures."""
    section = importlib.import_module(name)
    print(f"\n{section.TITLE} ({name})", flush=True)
    began_s, found = time.monotonic(), []
    try:
        for line in section.measure(quick=quick):
            print(line if isinstance(line, Figure) else f"  {line}", flush=True)
            if isinstance(line, Figure):
                found.append(line)
    except CannotMeasure as error:
        found.append(Figure(section.TITLE, None, why=str(error)))
        print(found[-1], flush=True)
    print(f"  ({time.monotonic() - began_s:.0f} s)", flush=True)
    return [figure.as_dict() for figure in found]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python tests/benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="shorter, so rougher: some minutes")
    parser.add_argument("--only", choices=SECTIONS, action="append", metavar="NAME",
                        help=f"one section, may be repeated: {', '.join(SECTIONS)}")  # fmt: skip
    parser.add_argument("--json", type=Path, metavar="FILE", help="the figures as data as well")
    asked = parser.parse_args()
    logging.disable(logging.CRITICAL)  # loops within this process trip by the thousand
    machine = list(description())
    print("\n".join(machine))
    found = {name: tell(name, quick=asked.quick) for name in asked.only or SECTIONS}
    missed = [
        f"{name}: {figure['what'].strip()}"
        for name, figures in found.items()
        for figure in figures
        if figure["verdict"] == "NOT MET"
    ]
    print("\nnot met:" if missed else "\nevery goal that could be measured is met")
    print("\n".join(f"  {what}" for what in missed))
    if asked.json:
        asked.json.write_text(json.dumps({"machine": machine, "figures": found}, indent=1), "utf-8")


if __name__ == "__main__":
    main()
