"""Tests in a guest: skipped, with a line that says why, where QEMU is not installed."""

from collections.abc import Callable
from typing import Any

import pytest
from guest_kernel import missing_tools
from guests import found_in_guest

Find = Callable[..., dict[tuple[str, ...], dict[str, Any]]]


@pytest.fixture(scope="session")
def find(tmp_path_factory: pytest.TempPathFactory) -> Find:
    """Facts of a script by its keys; each guest is booted once."""
    missing = missing_tools()
    if "qemu-system-x86_64" in missing:
        pytest.skip("no QEMU here: the daemon is not tried on a real kernel (DEVELOPERS.md)")
    assert not missing, f"QEMU is here, but not {', '.join(missing)}: see DEVELOPERS.md"
    kept: dict[tuple[str, bool], dict[tuple[str, ...], dict[str, Any]]] = {}

    def facts(script: str, *keys: str, keeps_levels: bool) -> dict[tuple[str, ...], dict[str, Any]]:
        if (script, keeps_levels) not in kept:
            share = tmp_path_factory.mktemp("share")
            found = found_in_guest(script, share, keeps_levels=keeps_levels)
            kept[script, keeps_levels] = {tuple(one[key] for key in keys): one for one in found}
        return kept[script, keeps_levels]

    return facts
