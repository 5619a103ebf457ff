"""Debian's promtool, asked by the tests; and the one reason for which they are skipped."""

import shutil
import subprocess
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config" / "prometheus"
needs_promtool = pytest.mark.skipif(
    shutil.which("promtool") is None, reason="promtool is not installed (apt install prometheus)"
)
needs_prometheus = pytest.mark.skipif(
    shutil.which("prometheus") is None, reason="prometheus is not installed (apt)"
)


def promtool(*arguments: str, text: str | None = None) -> subprocess.CompletedProcess[str]:
    """Its answer, whatever it is."""
    return subprocess.run(
        ["promtool", *arguments],
        input=text, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
