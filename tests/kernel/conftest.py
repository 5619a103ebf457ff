"""Tests in a guest: skipped, with a line that says why, where QEMU is not installed."""

import os
from collections.abc import Callable
from typing import Any

import pytest
from guest_kernel import alone, missing_tools
from guest_system import TOOLS as SYSTEMD_TOOLS
from guests import found_in_guest, told_by

REQUIRED = "HOLDWATCH_GUESTS_REQUIRED"  # set by CI: without QEMU they fail

Find = Callable[..., dict[tuple[str, ...], dict[str, Any]]]


@pytest.fixture(scope="session")
def find(tmp_path_factory: pytest.TempPathFactory) -> Find:
    """Facts of a script by its keys; each guest is booted once, whoever of the workers needs it."""
    missing = missing_tools()
    if "qemu-system-x86_64" in missing and REQUIRED not in os.environ:
        pytest.skip("no QEMU here: the daemon is not tried on a real kernel (DEVELOPERS.md)")
    assert not missing, f"not here: {', '.join(missing)}; see DEVELOPERS.md"
    place = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        place = place.parent  # shared by all workers

    def facts(
        script: str, *keys: str, keeps_levels: bool = True, systemd: bool = False
    ) -> dict[tuple[str, ...], dict[str, Any]]:
        lacking = missing_tools(SYSTEMD_TOOLS) if systemd else []
        if lacking:
            pytest.skip(f"not here: {', '.join(lacking)} (DEVELOPERS.md)")
        share = place / f"{script}-{'kept' if keeps_levels else 'let-go'}"
        with alone(place / f"{share.name}.lock"):
            if not share.exists():
                share.mkdir()
                found_in_guest(script, share, keeps_levels=keeps_levels, systemd=systemd)
            found = told_by(script, share)
        return {tuple(one[key] for key in keys): one for one in found}

    return facts
