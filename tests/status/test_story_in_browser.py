"""The plot of what was measured before a trip, read back from what the browser drew."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import samples
from browsing import Browser
from standing_in import page_over, served

from supervisor.snapshot import Moment, Snapshot

BEFORE = samples.LOCKED_OUT.lockout.before if samples.LOCKED_OUT.lockout else ()

READ = """
    const texts = [...document.querySelectorAll('#PLACE text')].map((node) =>
        [node.textContent.replace('−', '-'), +node.getAttribute('x'), +node.getAttribute('y'),
         node.getAttribute('text-anchor')]);
    const paths = [...document.querySelectorAll('#PLACE path')].map((node) =>
        [node.getAttribute('class'), node.getAttribute('d')]);
    return {texts, paths};"""


class Drawing:
    """A plot, with its scales as its own labels give them."""

    def __init__(self, browser: Browser, place: str = "seconds") -> None:
        found: dict[str, Any] = browser.run(READ.replace("PLACE", place))
        self.words = [text for text, *_ in found["texts"]]
        self.paths: dict[str, list[str]] = {}
        for name, d in found["paths"]:
            self.paths.setdefault(name, []).append(d)
        split = next(y for text, _, y, _ in found["texts"] if text == "Current, A")
        ticks = [text for text in found["texts"] if text[3] == "end" and text[0] != "trip"]
        values = [(y - 4, float(t)) for t, _, y, _ in ticks]
        self.volts = [(y, value) for y, value in values if y < split]
        self.amperes = [(y, value) for y, value in values if y > split]
        middle = [(x, t) for t, x, _, anchor in found["texts"] if anchor == "middle"]
        self.times = [(x, float(t)) for x, t in middle if " before " not in t]

    def trace(self, name: str) -> list[tuple[float, float]]:
        """Time before the end and value of every point of a channel."""
        scale = self.amperes if name == "shunt" else self.volts
        pairs = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", self.paths[name][0])
        return [(read(self.times, float(x)), read(scale, float(y))) for x, y in pairs]

    def limits(self) -> tuple[list[float], list[float]]:
        """Where limits are drawn: volts, amperes."""
        heights = [float(re.split(r"[ H]", d)[1]) for d in self.paths.get("limit", [])]
        lowest = max(y for y, _ in self.volts)
        return (
            [read(self.volts, y) for y in heights if y <= lowest],
            [read(self.amperes, y) for y in heights if y > lowest],
        )


def read(scale: list[tuple[float, float]], at: float) -> float:
    """The value at a place of the drawing, by the first and the last mark of its scale."""
    (from_, low), (to, high) = scale[0], scale[-1]
    return low + (at - from_) * (high - low) / (to - from_)


def story(before: tuple[Moment, ...] = BEFORE, **changes: Any) -> Snapshot:
    lockout = samples.LOCKED_OUT.lockout
    assert lockout is not None
    return replace(samples.LOCKED_OUT, lockout=replace(lockout, before=before, **changes))


def drawn(browser: Browser, run_dir: Path, snapshot: Snapshot, place: str = "seconds") -> Drawing:
    with served(run_dir, snapshot) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        return Drawing(browser, place)


@pytest.mark.parametrize(("place", "span_s"), [("seconds", 10), ("minute", 60)])
def test_the_plot_shows_what_was_measured(
    browser: Browser, tmp_path: Path, place: str, span_s: int
) -> None:
    drawing = drawn(browser, tmp_path, story(), place)
    within = [moment for moment in BEFORE if moment.before_s <= span_s]
    for name, error in (("front_cell", 1e-4), ("far_cell", 1e-4), ("shunt", 0.2)):
        times_s, values = zip(*drawing.trace(name), strict=True)
        assert times_s == pytest.approx([m.before_s for m in within], abs=span_s / 1000)
        assert values == pytest.approx([getattr(m, name) for m in within], abs=error)


def test_more_is_up_and_later_is_right(browser: Browser, tmp_path: Path) -> None:
    drawing = drawn(browser, tmp_path, story())
    for scale in (drawing.volts, drawing.amperes, drawing.times):
        assert [value for _, value in sorted(scale, reverse=True)] == sorted(v for _, v in scale)


def test_axes_have_their_units_and_the_limit_its_value(browser: Browser, tmp_path: Path) -> None:
    drawing = drawn(browser, tmp_path, story())
    assert {"Cells, V", "Current, A", "s before the trip"} <= set(drawing.words)
    assert "limit 3.600\u00a0V" in drawing.words
    assert drawing.limits() == ([pytest.approx(3.6)], [])


@pytest.mark.parametrize(
    ("rule", "limit", "unit", "volts", "amperes"),
    [
        ("overvoltage_high_set", 3.64, "V", [3.64], []),
        ("undervoltage", 2.5, "V", [2.5], []),
        ("overcurrent", 133.0, "A", [], [133.0]),
        ("overcurrent_inverse", 115.0, "A", [], [115.0]),
        ("reverse_current", -3.0, "A", [], [-3.0]),
        ("balance", 0.15, "V", [], []),  # of a difference, not of a cell
        ("rate_of_rise", 0.06, "V/min", [], []),
        ("sensing", 0.2, "s", [], []),
        ("external", None, "", [], []),
    ],
)
def test_a_limit_is_drawn_only_where_it_is_one(
    browser: Browser, tmp_path: Path, rule: str, limit: float | None, unit: str,
    volts: list[float], amperes: list[float],
) -> None:  # fmt: skip
    tripped = story(tripped_by=rule, limit=limit, unit=unit)
    assert drawn(browser, tmp_path, tripped).limits() == (
        pytest.approx(volts),
        pytest.approx(amperes),
    )


def test_what_could_not_be_believed_is_a_gap(browser: Browser, tmp_path: Path) -> None:
    lost = {1.0, 0.9, 0.7, 0.0}
    before = tuple(
        replace(moment, far_cell=None) if moment.before_s in lost else moment for moment in BEFORE
    )
    with served(tmp_path, story(before)) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        drawing = Drawing(browser)
        (told,) = browser.texts("#seconds figcaption")
    (path,) = drawing.paths["far_cell"]
    assert path.count("M") == 3
    assert drawing.paths["front_cell"][0].count("M") == 1
    assert not lost & {round(s, 1) for s, _ in drawing.trace("far_cell")}
    assert "far cell from 3.559\u00a0V to 3.585\u00a0V, then no good reading" in told


def test_the_plot_is_told_in_words_too(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, story()) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        told = [text.replace("\u00a0", " ") for text in browser.texts("#seconds figcaption")]
        hidden = browser.run(
            "return [...document.querySelectorAll('.plot')].every(n => n.ariaHidden === 'true')"
        )
    assert told == [
        "The last 10 s: front cell from 3.574 V to 3.607 V; far cell from 3.559 V to 3.585 V; "
        "current from 106.6 A to 104.6 A."
    ]
    assert hidden


def test_nothing_known_leaves_no_empty_plot(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, story(())) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        assert browser.texts("#before") == [""]


def test_a_short_story_has_no_minute(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path, story(BEFORE[-31:])) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        assert browser.texts("#longer") == [""]
        assert "The last 3\u00a0s:" in browser.texts("#seconds figcaption")[0]


def test_the_noise_of_a_zero_needs_no_axis_below_it(browser: Browser, tmp_path: Path) -> None:
    before = tuple(replace(m, shunt=-0.02 if m.before_s > 1 else 110.0) for m in BEFORE)
    words = drawn(browser, tmp_path, story(before)).words
    scale = words[words.index("Current, A") + 1 :]
    assert scale[:4] == ["0", "50", "100", "150"]


def test_the_first_mark_of_time_is_there(browser: Browser, tmp_path: Path) -> None:
    """With moments that are not on whole seconds, too."""
    before = tuple(replace(m, before_s=m.before_s - 0.37) for m in BEFORE)
    assert "10" in drawn(browser, tmp_path, story(before)).words
    assert "60" in drawn(browser, tmp_path, story(before), "minute").words


def test_another_story_is_drawn_anew(browser: Browser, tmp_path: Path) -> None:
    with page_over(tmp_path, story()) as page:
        browser.visit(page.url)
        browser.wait_for("Locked out")
        first = Drawing(browser).trace("front_cell")
        later = tuple(replace(m, front_cell=3.5) for m in BEFORE)
        changed = story(later, wall="2025-03-15T03:00:00+00:00", reason="tripped once more")
        page.publish(changed)
        browser.wait_for("Tripped once more.", "lockout-reason")
        second = Drawing(browser).trace("front_cell")
    assert first != second
    assert [value for _, value in second] == pytest.approx([3.5] * len(second))


NOTHING = Moment(0.0, None, None, None)
ODD = {
    "one moment": BEFORE[-1:],
    "nothing believed": (replace(NOTHING, before_s=1.0), NOTHING),
    "only long ago": BEFORE[:5],
    "all the same": tuple(Moment(s, 3.5, 3.5, 0.0) for s in (2.0, 1.0, 0.0)),
    "huge": (Moment(1e15, 1e15, -1e15, 1e15), Moment(0.0, 1e15, 1e15, 1e15)),
    "tiny": (Moment(1.0, 1e-300, -1e-300, 1e-300), Moment(0.0, 0.0, 0.0, 0.0)),
    "after the trip": (Moment(-5.0, 3.5, 3.5, 1.0), Moment(-1e15, 3.5, 3.5, 1.0)),
}


@pytest.mark.parametrize("before", ODD.values(), ids=ODD.keys())
def test_an_odd_story_never_hides_the_state(
    browser: Browser, tmp_path: Path, before: tuple[Moment, ...]
) -> None:
    with served(tmp_path, story(before)) as url:
        browser.visit(url)
        browser.wait_for("Locked out")
        assert browser.texts("#lockout-rule") == ["Overvoltage"]
        assert browser.complaints(url) == []
