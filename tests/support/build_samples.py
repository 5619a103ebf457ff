"""Lines of a commissioning record as a hut's build may leave them, whole and odd."""

from dataclasses import replace
from typing import Any

from hypothesis import strategies as st

from supervisor.control.build_record import Finding, Line, Lost, StepDone
from supervisor.control.build_steps import BY_KEY, STEPS, needed
from supervisor.settings.model import SupervisorSettings

WALL = "2026-11-30T10:00:00+00:00"


def step_done(settings: SupervisorSettings, key: str, **other: Any) -> StepDone:
    """Passed with these settings, unless said otherwise."""
    one = StepDone(
        key, True, WALL, "Ida", "0.1", False, BY_KEY[key].relied_on(settings),
        (Finding("all is well", True),),
    )  # fmt: skip
    return replace(one, **other)


def all_done(settings: SupervisorSettings, **other: Any) -> list[StepDone]:
    return [step_done(settings, step.key, **other) for step in needed(settings)]


_text = st.text(max_size=20)
_finite = st.floats(allow_nan=False, allow_infinity=False)
_figure = st.none() | _finite
findings = st.builds(
    Finding, _text, st.booleans(), _figure, _text, _figure, _figure, _figure, _text, _text, _text
)
_figures = st.dictionaries(_text, _finite, max_size=3)
_otherwise: st.SearchStrategy[Any] = st.one_of(
    st.integers(), _text, st.dictionaries(_text, _text, min_size=1)
)


@st.composite
def odd_lines(draw: st.DrawFn, settings: SupervisorSettings) -> Line:
    """Of any step, known or not, with these settings or with one of them otherwise; or lost."""
    key = draw(st.sampled_from([step.key for step in STEPS]) | _text)
    if draw(st.integers(0, 9)) == 0:
        return Lost(key if key in BY_KEY else "")
    relied_on = dict(BY_KEY[key].relied_on(settings)) if key in BY_KEY else {}
    if draw(st.booleans()) and relied_on:
        path = draw(st.sampled_from(sorted(relied_on)))
        relied_on[path] = draw(_otherwise)
    wall = draw(st.sampled_from([WALL, "2024-01-01T00:00:00", "9999-12-31T23:59:59Z"]) | _text)
    return StepDone(
        key, draw(st.booleans()), wall, draw(_text), draw(_text), draw(st.booleans()), relied_on,
        tuple(draw(st.lists(findings, max_size=3))), draw(_figures), draw(_figures),
        tuple(draw(st.lists(_text, max_size=2))),
    )  # fmt: skip
