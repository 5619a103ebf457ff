"""The tables of hardware/coil-fate.md."""

from pathlib import Path

PAGE = Path(__file__).parents[2] / "hardware" / "coil-fate.md"


def table(title: str) -> list[list[str]]:
    """Cells of the rows of that section's table, without its head."""
    text = PAGE.read_text("utf-8").split(f"\n## {title}\n")[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("| ").split("|")] for line in lines[1:]]
