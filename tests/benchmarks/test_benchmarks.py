"""What the benchmarks judge by: the verdict on a figure, one layout of memory in two languages."""

import re
import sys
from pathlib import Path

import pytest
from figures import Figure, quantile, spread

sys.path.insert(0, str(Path(__file__).parent / "stand_in"))

from page import FLOATS, INTEGERS, Page


@pytest.mark.parametrize(
    ("figure", "verdict"),
    [
        (Figure("a", 0.95, at_least=0.95), "met"),
        (Figure("a", 0.949, at_least=0.95), "NOT MET"),
        (Figure("a", 4.0, "%", at_most=4.0), "met"),
        (Figure("a", 4.001, "%", at_most=4.0), "NOT MET"),
        (Figure("a", None, at_most=4.0, why="no clock"), "cannot be measured here"),
        (Figure("a", float("nan"), at_most=4.0), "NOT MET"),
        (Figure("a", 1.0), ""),
    ],
)
def test_a_figure_is_met_at_its_goal_and_not_beyond(figure: Figure, verdict: str) -> None:
    assert figure.verdict == verdict
    assert figure.as_dict()["verdict"] == verdict


def test_a_quantile_is_a_value_that_occurred() -> None:
    values = [float(n) for n in range(1000, 0, -1)]
    assert [quantile(values, share) for share in (0.001, 0.5, 0.99, 0.999, 1.0)] == [
        1.0, 500.0, 990.0, 999.0, 1000.0,
    ]  # fmt: skip


def test_too_few_values_are_judged_by_the_worst() -> None:
    few = list(spread("late", [1.0] * 998 + [9.0], at_most=2.0))
    enough = list(spread("late", [1.0] * 999 + [9.0], at_most=2.0))
    assert [one.verdict for one in few if isinstance(one, Figure)] == ["", "", "NOT MET"]
    assert [one.verdict for one in enough if isinstance(one, Figure)] == ["", "", "met", ""]


def test_both_sides_see_the_same_numbers_in_shared_memory(tmp_path: Path) -> None:
    source = (Path(__file__).parent / "stand_in" / "wire.c").read_text("utf-8")
    (layout,) = re.findall(r"struct page \{(.*?)struct sample kept", source, re.DOTALL)
    plain = re.sub(r"/\*.*?\*/", "", layout, flags=re.DOTALL)
    fields = {
        kind: re.findall(r"\w+", " ".join(re.findall(rf"{kind} ([^;\[]+);", plain)))
        for kind in ("double", "int64_t")
    }
    own = int(re.findall(r"daemons_own\[(\d+)\]", layout)[0])
    assert fields["double"] == list(FLOATS)
    assert fields["int64_t"] == list(INTEGERS[:-own])

    page = Page(tmp_path / "page")
    page.set(**{name: number for number, name in enumerate(FLOATS + INTEGERS)})
    assert [page.get(name) for name in FLOATS + INTEGERS] == list(range(len(FLOATS + INTEGERS)))
    for late_s in (0.5, 0.25, 0.125):
        page.note_lateness(late_s)
    assert page.lateness_s(page.get("cycles") - 2) == [0.25, 0.125]
