"""Files of the page: whole paths, and a certificate with its key."""

import pytest

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.model import SupervisorSettings, Web


def found(settings: SupervisorSettings, **web: str) -> list[tuple[str, str, str]]:
    changed = settings.model_copy(update={"web": Web(**web)})  # type: ignore[arg-type]
    return [(c.path, c.problem, c.remedy) for c in contradictions(changed) if "web" in c.path]


@pytest.mark.parametrize("path", ["hut.token", "./hut.token", "keys/hut.token", "~/hut.token"])
def test_a_path_from_somewhere_else_is_refused(hut_settings: SupervisorSettings, path: str) -> None:
    ((where, problem, remedy),) = found(hut_settings, token_file=path)
    assert where == "web.token_file"
    assert f"{path} is not a whole path" in problem
    assert "/etc/holdwatch/hut.token" in remedy


@pytest.mark.parametrize(
    ("given", "missing"), [("certificate_file", "key_file"), ("key_file", "certificate_file")]
)
def test_a_certificate_and_its_key_go_together(
    hut_settings: SupervisorSettings, given: str, missing: str
) -> None:
    ((where, problem, _),) = found(hut_settings, **{given: "/etc/holdwatch/page.pem"})
    assert where == f"web.{given}"
    assert f"{missing} is missing" in problem


def test_what_is_whole_passes(hut_settings: SupervisorSettings) -> None:
    files = {"token_file": "/t", "certificate_file": "/c", "key_file": "/k"}
    assert found(hut_settings, **files) == found(hut_settings) == []
