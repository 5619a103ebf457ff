"""What a scenario file says of a plant that its bank does not have: told by its line."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from supervisor.bench.scenario import load_scenario
from supervisor.cli.main import main
from supervisor.settings.faults import SettingsFaults

HUT = Path(__file__).parents[2] / "config" / "hut-bank.yaml"
CHEMISTRY = HUT.parent / "chemistries" / "bpx-lfp.yaml"


def written(folder: Path, *lines: str) -> Path:
    text = [
        "name: Out of the bank",
        f"settings: {HUT}",
        "overrides: {bank.cells_in_parallel: 4, protection.session_charge.trip_ampere_hours: 1120}",
        "seconds: 10",
        "expect: {outcome: open}",
        *lines,
    ]
    path = folder / "scenario.yaml"
    path.write_text("\n".join(text) + "\n", "utf-8")
    return path


@pytest.mark.parametrize(
    ("lines", "where", "words"),
    [
        (
            ["plant:", "  cells:", "    capacity_factors: [1.0, 1.0, 1.0, 1.0, 0.9]"],
            ("plant.cells.capacity_factors", 8),
            "5 values for 4 cells",
        ),
        (
            ["plant:", "  cells:", "    state_of_charge_offsets: [0.0, 0.0, 0.0, 0.0, 0.1]"],
            ("plant.cells.state_of_charge_offsets", 8),
            "5 values for 4 cells",
        ),
        (
            ["plant:", "  cells:", "    chemistry: nobody-knows.yaml"],
            ("plant.cells.chemistry", 8),
            "There is no such file",
        ),
        (
            ["timeline:", "  - at_seconds: 1", "    fault: {kind: cell_dead, cell: 5}"],
            ("timeline[0].fault.cell", 8),
            "5 is beyond the bank's 4 cells",
        ),
        (
            ["timeline:", "  - at_seconds: 1", "    fault: {kind: link_open, behind_cell: 4}"],
            ("timeline[0].fault.behind_cell", 8),
            "Write 1 to 3",
        ),
        (
            ["timeline:", "  - at_seconds: 10.5", "    kill: {}"],
            ("timeline[0].at_seconds", 7),
            "after the end, 10 s",
        ),
        (
            ["timeline:", "  - at_seconds: 1", "    expect: {tripped_by: overvolt}"],
            ("timeline[0].expect.tripped_by", 8),
            "Write overvoltage",
        ),
        (
            ["timeline:", "  - at_seconds: 1", "    clear: lead_opened"],
            ("timeline[0].clear", 8),
            "Write lead_open",
        ),
    ],
)
def test_it_is_told_where_and_why(
    tmp_path: Path, lines: list[str], where: tuple[str, int], words: str
) -> None:
    path = written(tmp_path, *lines)
    with pytest.raises(SettingsFaults) as refused:
        load_scenario(path)
    (fault,) = refused.value.faults
    assert (fault.path, fault.line) == where
    assert words in str(fault)
    said = CliRunner().invoke(main, ["drill", str(path)])
    assert said.exit_code == 78
    assert "Traceback" not in said.output


def test_a_chemistry_of_ones_own_is_looked_for_beside_the_scenario(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "mine.yaml").write_text(CHEMISTRY.read_text("utf-8"), "utf-8")
    path = written(tmp_path, "plant: {cells: {chemistry: mine.yaml}}")
    monkeypatch.chdir("/")
    scenario, _ = load_scenario(path)
    assert scenario.plant.cells.chemistry == str(tmp_path / "mine.yaml")
