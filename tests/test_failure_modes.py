"""The failure table promises nothing that is not proved: every proof it names exists and runs."""

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import NamedTuple, get_args

import pytest
from long_tests import LONG

from supervisor.bench.scenario import Scenario, load_scenario
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.protection import RULE_KEYS
from supervisor.simulator.faults import Fault
from supervisor.sizing.response import budgets

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "hardware" / "failure-modes.md"
SCENARIOS = ROOT / "config" / "scenarios"
LEAST_ROWS = 60
REPORTS = 28
COLUMNS = 7
SHOW_MORE_THAN_A_FAULT = {"reset-and-close.yaml"}
ROUNDING_S = 0.001  # of the figures `holdwatch check` prints
NOT_RUN = {"skip", "skipif", "xfail", "importorskip", "long"}


class Row(NamedTuple):
    number: int
    part: str
    failure: str
    effect: str
    detected_by: str
    response: str
    proof: str

    @property
    def scenarios(self) -> list[str]:
        return re.findall(r"`([\w-]+\.yaml)`", self.proof)

    @property
    def tests(self) -> list[str]:
        return re.findall(r"`(tests/[\w/]+\.py(?:::\w+)+)`", self.proof)

    @property
    def budget(self) -> tuple[str, float] | None:
        """Title of the budget and the seconds stated for it."""
        found = re.match(r"([\d.]+) s \(`([^`]+)`\)", self.response)
        return (found[2], float(found[1])) if found else None


def section(title: str) -> list[list[str]]:
    """Cells of the rows of a section's table, without its head."""
    text = PAGE.read_text("utf-8").split(f"\n## {title}\n")[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


def rows() -> list[Row]:
    return [Row(int(cells[0]), *cells[1:]) for cells in section("Proved")]


ROWS = rows()
TESTS = sorted({test for row in ROWS for test in row.tests})
NAMED_SCENARIOS = sorted({name for row in ROWS for name in row.scenarios})


@cache
def scenario(name: str) -> Scenario:
    return load_scenario(SCENARIOS / name)[0]


def test_rows_are_whole_and_numbered_without_a_gap() -> None:
    assert all(len(cells) == COLUMNS and all(cells) for cells in section("Proved"))
    assert [row.number for row in ROWS] == list(range(1, len(ROWS) + 1))
    assert len(ROWS) >= LEAST_ROWS
    assert len({(row.part, row.failure) for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row.number))
def test_a_proof_is_nothing_but_drills_and_tests(row: Row) -> None:
    named = [*row.scenarios, *row.tests]
    assert named
    assert row.proof == ", ".join(f"`{name}`" for name in named)


@pytest.mark.parametrize("name", NAMED_SCENARIOS)
def test_a_drill_is_one_of_those_the_tests_run(name: str) -> None:
    """``tests/bench/test_drills.py`` runs all of that folder, the long by --long."""
    drills = (ROOT / "tests" / "bench" / "test_drills.py").read_text("utf-8")
    assert '"config" / "scenarios").glob("*.yaml")' in drills
    assert '@pytest.mark.parametrize("path", [marked(path) for path in SCENARIOS])' in drills
    assert (SCENARIOS / name).is_file()
    assert name.removesuffix(".yaml") not in LONG  # those are left out but by --long


def test_every_drill_with_a_fault_has_a_row() -> None:
    at_fault = {
        path.name
        for path in SCENARIOS.glob("*.yaml")
        if any(act.fault for act in scenario(path.name).timeline)
    }
    assert at_fault <= set(NAMED_SCENARIOS) | SHOW_MORE_THAN_A_FAULT


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row.number))
def test_a_rule_said_to_detect_it_is_the_one_that_trips_in_the_drill(row: Row) -> None:
    said = {word for word in re.findall(r"`(\w+)`", row.detected_by) if word in RULE_KEYS}
    tripped = {scenario(name).expect.tripped_by for name in row.scenarios}
    if said and tripped - {None}:
        assert tripped & said == tripped - {"external", None}


@cache
def collected() -> str:
    """What pytest finds in the files of the table, without running it."""
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider"]
    files = sorted({test.split("::")[0] for test in TESTS})
    done = subprocess.run([*command, *files], cwd=ROOT, capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


@pytest.mark.parametrize("test", TESTS)
def test_a_test_exists_and_is_run(test: str) -> None:
    assert re.search(rf"^{re.escape(test)}(\[|$)", collected(), re.MULTILINE), collected()[-500:]
    assert not NOT_RUN & names_in(test)


def names_in(test: str) -> set[str]:
    """Names of the marks and calls in a test and in what marks its whole file or class."""
    path, *inner = test.split("::")
    level: ast.AST = ast.parse((ROOT / path).read_text("utf-8"))
    looked_at: list[ast.AST] = [
        node for node in ast.iter_child_nodes(level) if isinstance(node, ast.Assign | ast.Expr)
    ]
    for name in inner:
        level = next(n for n in ast.iter_child_nodes(level) if getattr(n, "name", "") == name)
        looked_at += getattr(level, "decorator_list", [])
    looked_at.append(level)
    return {
        node.attr
        for part in looked_at
        for node in ast.walk(part)
        if isinstance(node, ast.Attribute)
    }


@pytest.mark.parametrize("row", [r for r in ROWS if r.budget], ids=lambda row: str(row.number))
def test_no_response_is_better_than_the_budget(row: Row, hut_settings: SupervisorSettings) -> None:
    promised = {budget.title: budget.response_s for budget in budgets(hut_settings)}
    assert row.budget
    title, stated_s = row.budget
    assert stated_s >= promised[title] - ROUNDING_S / 2
    assert stated_s <= promised[title] + ROUNDING_S


def test_every_kind_of_fault_of_the_simulator_is_in_a_proof() -> None:
    kinds = [get_args(model.model_fields["kind"].annotation)[0] for model in fault_models()]
    struck = {
        act.fault.kind for name in NAMED_SCENARIOS for act in scenario(name).timeline if act.fault
    }
    missing = [
        kind for kind in kinds if kind not in struck and not any(uses(t, kind) for t in TESTS)
    ]
    assert not missing, "a new kind of fault needs a drill and a row"


def fault_models() -> tuple[type, ...]:
    union, _ = get_args(Fault)
    return get_args(union)


@cache
def uses(test: str, kind: str) -> bool:
    path, *inner = test.split("::")
    text = (ROOT / path).read_text("utf-8")
    function = next(
        node
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef) and node.name == inner[-1]
    )
    return f'"{kind}"' in (ast.get_source_segment(text, function) or "")


def test_what_is_not_proved_says_what_it_needs() -> None:
    assert all(len(cells) == 4 and all(cells) for cells in section("Not yet proved"))


def test_every_reported_kind_of_trouble_is_answered() -> None:
    reports = section("Trouble reported by people who run such parts")
    assert [int(cells[0].split(":")[0]) for cells in reports] == list(range(1, REPORTS + 1))
    for _, answer in reports:
        assert answer.startswith("none: ") or all(
            1 <= int(number) <= len(ROWS) for number in answer.split(", ")
        )
