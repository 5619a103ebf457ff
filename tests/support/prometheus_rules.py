"""The shipped rules, put to what the page really says: a snapshot in, the alerts that fire out."""

import json
from pathlib import Path
from typing import Any

import yaml
from prometheus_client import CollectorRegistry
from prometheus_client.core import Metric
from prometheus_tools import CONFIG, promtool

from supervisor.snapshot import Snapshot
from supervisor.status.metrics import UP, StatusCollector
from supervisor.status.status_file import Status

RULE_FILES = [CONFIG / "recording-rules.yaml", CONFIG / "alert-rules.yaml"]
TARGET = {"job": "holdwatch", "instance": "hut.lan:8462", "circuit": "hut-bank"}
SCRAPES = 150  # of 5 s: longer than any alert waits
BEFORE_SILENCE = 12
Series = tuple[str, dict[str, str], float]
# What is left to scrape when the supervisor dies, and when its machine does.
SILENT: list[Series] = [("up", {}, 1.0), (UP[0], {}, 0.0)]
UNREACHABLE: list[Series] = [("up", {}, 0.0)]


def rules() -> list[dict[str, Any]]:
    """All of them, in the order of the files."""
    groups = [g for f in RULE_FILES for g in yaml.safe_load(f.read_text("utf-8"))["groups"]]
    return [rule for group in groups for rule in group["rules"]]


def assert_fires(
    folder: Path,
    snapshot: Snapshot,
    alerts: set[str],
    kind: str = "real",
    then: list[Series] | None = None,
) -> None:
    """After many scrapes of the same snapshot these alerts fire, of this kind, and no others.

    With ``then`` the snapshot is told for a minute only, and this is what is scraped after that.
    """
    scraped = _scraped(_told(snapshot))
    if then is not None:
        scraped = _scraped(_told(snapshot), BEFORE_SILENCE, then)
    fires = [
        {"labels": f'{{alertname="{name}",kind="{kind}"}}', "value": 1} for name in sorted(alerts)
    ]
    test = {
        "rule_files": [str(file) for file in RULE_FILES],
        "evaluation_interval": "5s",
        "tests": [
            {
                "interval": "5s",
                "input_series": scraped,
                "promql_expr_test": [
                    {
                        "expr": 'group by (alertname, kind) (ALERTS{alertstate="firing"})',
                        "eval_time": "12m",
                        "exp_samples": fires,
                    }
                ],
            }
        ],
    }
    file = folder / "test.yaml"
    file.write_text(yaml.safe_dump(test), "utf-8")
    done = promtool("test", "rules", str(file))
    assert done.returncode == 0, done.stdout + done.stderr


def _told(snapshot: Snapshot) -> list[Series]:
    registry = CollectorRegistry(auto_describe=False)
    registry.register(StatusCollector(lambda: Status(snapshot, 0.1, "")))
    families: list[Metric] = list(registry.collect())
    told = [(s.name, dict(s.labels), s.value) for family in families for s in family.samples]
    return [("up", {}, 1.0), *told]


def _scraped(
    told: list[Series], until: int = SCRAPES, then: list[Series] | None = None
) -> list[dict[str, str]]:
    after = {_name(name, labels): value for name, labels, value in then or []}
    series = []
    for name, labels, value in told:
        full = _name(name, labels)
        later = f"{after[full]:.9g}x{SCRAPES}" if full in after else "stale"
        series.append({"series": full, "values": f"{value:.9g}x{until} {later}"})
    return series


def _name(name: str, labels: dict[str, str]) -> str:
    all_labels = ",".join(f"{key}={json.dumps(text)}" for key, text in (TARGET | labels).items())
    return f"{name}{{{all_labels}}}"
