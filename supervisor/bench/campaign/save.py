"""Scenario files that `holdwatch drill` runs, beside the settings they rest on."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import yaml

from supervisor.bench.campaign.base import NAME, bare_bank
from supervisor.bench.campaign.run import Run

WIDTH = 100


def save(document: dict[str, Any], failed: Run, folder: Path) -> Path:
    """Raises OSError when the folder cannot be written."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / NAME).write_text(_yaml(bare_bank().data), "utf-8")
    path = folder / f"seed-{failed.seed}-run-{failed.run}-{''.join(failed.broken)}.yaml"
    said = "".join(f"# {line}\n" for text in failed.violations for line in text.splitlines())
    path.write_text(said + _yaml(document), "utf-8")
    return path


class _PlainNumbers(yaml.SafeDumper):
    """Numbers written out: our own files have no exponents."""


def _plain(dumper: yaml.SafeDumper, number: float) -> yaml.Node:
    text = format(Decimal(repr(number)), "f")
    return dumper.represent_scalar("tag:yaml.org,2002:float", text)


_PlainNumbers.add_representer(float, _plain)


def _yaml(data: dict[str, Any]) -> str:
    return yaml.dump(data, Dumper=_PlainNumbers, sort_keys=False, width=WIDTH, allow_unicode=True)
