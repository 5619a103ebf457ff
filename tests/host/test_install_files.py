"""Files put in place and taken away: what is not ours stays as it is, whatever goes wrong."""

import os
import resource
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from install_trees import (
    FREE,
    TAKEN,
    Arrange,
    dangling_link,
    edited,
    empty,
    folder,
    in_place,
    link,
    machine,
    mask,
    masked_above,
    missing,
    not_ours,
    of_a_package,
    other_version,
    pipe,
    snapshot,
)

from supervisor.cli.main import main
from supervisor.host.install_files import plan, plan_removal, put, remove
from supervisor.host.shell_files import shell_files
from supervisor.host.unit_files import State, Wanted, look, look_around, unit_files

WANTED = [*unit_files(), *shell_files(main)]
UNIT = next(one for one in WANTED if one.path.name == "holdwatch@.service")
FOLDERS = ["etc/holdwatch"]
NOBODY = 65534


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return machine(tmp_path)


def content(root: Path, wanted: Wanted) -> bytes:
    return (root / wanted.path).read_bytes()


# --- every state, and what is done about it

TABLE = [
    (missing, State.MISSING, "written", "nothing"),
    (in_place, State.IN_PLACE, "kept", "removed"),
    (other_version, State.OTHER_VERSION, "written", "removed"),
    (masked_above, State.MISSING, "written", "nothing"),
    (edited, State.EDITED, "refused", "left"),
    (not_ours, State.NOT_OURS, "refused", "left"),
    (empty, State.NOT_OURS, "refused", "left"),
    (mask, State.MASKED, "refused", "left"),
    (link, State.IN_THE_WAY, "refused", "left"),
    (dangling_link, State.IN_THE_WAY, "refused", "left"),
    (folder, State.IN_THE_WAY, "refused", "left"),
    (pipe, State.IN_THE_WAY, "refused", "left"),
    (of_a_package, State.TWICE, "refused", "nothing"),
]


@pytest.mark.parametrize(("arrange", "state"), [(row[0], row[1]) for row in TABLE])
def test_each_state_is_told_from_the_others(root: Path, arrange: Arrange, state: State) -> None:
    arrange(root, UNIT)
    found = look_around(root, UNIT)
    assert found.state is state
    assert found.hinders == bool(found.detail and found.remedy)


@pytest.mark.parametrize(("arrange", "put_there"), [(row[0], row[2]) for row in TABLE])
def test_what_putting_does_in_each_state(root: Path, arrange: Arrange, put_there: str) -> None:
    arrange(root, UNIT)
    before = snapshot(root)
    todo = plan(root, WANTED, FOLDERS)
    assert bool(todo.hindrances) == (put_there == "refused")
    if put_there == "refused":
        (hindrance,) = todo.hindrances
        assert hindrance.path == root / UNIT.path
        assert hindrance.remedy
        return
    done = put(todo)
    assert done.error is None
    assert (root / UNIT.path in done.paths) == (put_there == "written")
    assert all(content(root, one) == one.content for one in WANTED)
    changed = {str(one.path) for one in WANTED}
    assert {k: v for k, v in before.items() if k not in changed}.items() <= snapshot(root).items()


@pytest.mark.parametrize(("arrange", "removal"), [(row[0], row[3]) for row in TABLE])
def test_what_removing_does_in_each_state(root: Path, arrange: Arrange, removal: str) -> None:
    arrange(root, UNIT)
    before = snapshot(root)
    todo = plan_removal(root, WANTED, FOLDERS)
    assert not todo.hindrances
    done = remove(todo)
    assert done.error is None
    assert (done.paths == [root / UNIT.path]) == (removal == "removed")
    if removal != "removed":
        assert snapshot(root) == before
    left = [one.wanted for one in todo.found if one.hinders]
    assert left == ([UNIT] if removal == "left" else [])


def test_a_file_that_cannot_be_read_is_not_taken_for_ours(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_place(root, UNIT)

    def refuse(*_args: object, **_options: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    found = look(root, UNIT)
    assert found.state is State.UNREADABLE
    assert found.hinders


def test_a_huge_file_is_not_read_to_its_end(root: Path) -> None:
    not_ours(root, UNIT)
    os.truncate(root / UNIT.path, 1 << 40)  # sparse
    assert look(root, UNIT).state is State.NOT_OURS


# --- folders on the way


def test_a_file_where_a_folder_belongs(root: Path) -> None:
    (root / "usr/local/lib/systemd").write_text("mine")
    before = snapshot(root)
    hindrances = plan(root, WANTED, FOLDERS).hindrances
    assert hindrances
    assert all(one.remedy for one in hindrances)
    assert snapshot(root) == before


def test_a_file_where_the_settings_belong(root: Path) -> None:
    (root / "etc/holdwatch").write_text("mine")
    (hindrance,) = plan(root, WANTED, FOLDERS).hindrances
    assert hindrance.path == root / "etc/holdwatch"


def test_a_folder_that_leads_out_of_the_root_is_not_followed(
    root: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    outside = tmp_path_factory.mktemp("outside")
    (root / "usr/local/lib/systemd").symlink_to(outside)
    (hindrance,) = plan(root, WANTED, FOLDERS).hindrances
    assert str(outside) in hindrance.problem
    for one in unit_files():
        if one.path.is_relative_to("usr/local/lib/systemd"):
            (outside / "system").mkdir(exist_ok=True)
            (outside / "system" / one.path.name).write_bytes(one.content)
    assert plan_removal(root, WANTED, FOLDERS).hindrances


def test_a_folder_that_leads_elsewhere_in_the_root_is(root: Path) -> None:
    (root / "var").mkdir()
    (root / "var/units").mkdir()
    (root / "usr/local/lib/systemd").symlink_to(root / "var/units")
    assert put(plan(root, WANTED, FOLDERS)).error is None
    assert (root / "var/units/system" / UNIT.path.name).read_bytes() == UNIT.content


def test_modes_do_not_depend_on_the_umask(root: Path) -> None:
    before = snapshot(root)
    umask = os.umask(0o077)
    try:
        put(plan(root, WANTED, FOLDERS))
    finally:
        os.umask(umask)
    for path, (mode, _) in snapshot(root).items():
        if path not in before:
            assert mode & 0o777 == (0o755 if (root / path).is_dir() else 0o644), path
    assert (root / "etc/holdwatch").is_dir()


def test_a_settings_folder_that_is_there_keeps_its_mode_and_files(root: Path) -> None:
    folder_of_settings = root / "etc/holdwatch"
    folder_of_settings.mkdir(mode=0o750)
    (folder_of_settings / "hut.yaml").write_text("mine")
    put(plan(root, WANTED, FOLDERS))
    remove(plan_removal(root, WANTED, FOLDERS))
    assert folder_of_settings.stat().st_mode & 0o777 == 0o750
    assert (folder_of_settings / "hut.yaml").read_text() == "mine"


@pytest.fixture
def ordinary_user() -> Iterator[None]:
    """Not root, whoever runs the tests."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_root() -> Iterator[Path]:
    """A machine to which everybody may pass, and in which nobody else may write."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        root = machine(Path(name) / "root")
        for folder_of_it in [root, *root.rglob("*")]:
            folder_of_it.chmod(0o555)
        yield root
        for folder_of_it in [root, *root.rglob("*")]:
            folder_of_it.chmod(0o755)


@pytest.mark.usefixtures("ordinary_user")
def test_where_one_may_not_write_it_is_said_beforehand(open_root: Path) -> None:
    hindrances = plan(open_root, WANTED, FOLDERS).hindrances
    assert {one.path for one in hindrances} == {
        open_root / "etc", open_root / "usr/local/lib",
        open_root / "usr/local/share", open_root / "usr/local/share/man",
    }  # fmt: skip
    assert all("may not write" in one.problem for one in hindrances)
    assert not plan(open_root, WANTED, FOLDERS, as_root=True).hindrances


# --- what is not ours is never touched


def states(*arrangements: Arrange) -> st.SearchStrategy[list[Arrange]]:
    return st.lists(st.sampled_from(arrangements), min_size=len(WANTED), max_size=len(WANTED))


STRANGERS = st.lists(
    st.tuples(st.sampled_from(WANTED), st.sampled_from([".bak", "~", ".d", ".1"]), st.binary()),
    max_size=4,
)


@settings(max_examples=40)
@given(arranged=states(*FREE) | states(*FREE, *TAKEN, of_a_package), strangers=STRANGERS)
def test_what_is_not_ours_is_the_same_to_the_byte(
    arranged: list[Arrange], strangers: list[tuple[Wanted, str, bytes]]
) -> None:
    with tempfile.TemporaryDirectory() as name:
        root = machine(Path(name))
        for one, ending, text in strangers:
            path = root / one.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.with_name(path.name + ending).write_bytes(text)
        for arrange, one in zip(arranged, WANTED, strict=True):
            arrange(root, one)
        ours = {str(one.path) for one in WANTED if look(root, one).is_ours}
        before = snapshot(root)
        foreign = {path: entry for path, entry in before.items() if path not in ours}

        todo = plan(root, WANTED, FOLDERS)
        if todo.hindrances:
            assert set(arranged) - set(FREE)
        else:
            assert put(todo).error is None
            assert all(content(root, one) == one.content for one in WANTED)
        assert foreign.items() <= snapshot(root).items()

        remove(plan_removal(root, WANTED, FOLDERS))
        after = snapshot(root)
        assert after.items() <= foreign.items()
        gone = foreign.keys() - after.keys()
        assert all(before[path][1] is None for path in gone), "more than empty folders"


def test_putting_and_removing_leaves_the_machine_as_it_was(root: Path) -> None:
    before = snapshot(root)
    put(plan(root, WANTED, FOLDERS))
    assert snapshot(root) != before
    remove(plan_removal(root, WANTED, FOLDERS))
    assert snapshot(root) == before


def test_a_second_time_nothing_is_written(root: Path) -> None:
    put(plan(root, WANTED, FOLDERS))
    todo = plan(root, WANTED, FOLDERS)
    assert todo.changes == []
    assert put(todo).paths == []


# --- what breaks in the middle


def each_is_whole(root: Path, old: dict[PurePosixPath, bytes]) -> None:
    for one in WANTED:
        path = root / one.path
        assert path.read_bytes() in (old[one.path], one.content)
    drafts = [path for path in root.rglob(".*") if path.is_file()]
    assert drafts == []


def failing_at(
    turn: int, call: Callable[..., object], error: BaseException
) -> Callable[..., object]:
    turns = iter(range(1000))

    def fails(*args: object, **options: object) -> object:
        if next(turns) == turn:
            raise error
        return call(*args, **options)

    return fails


@pytest.mark.parametrize("name", ["replace", "fchmod", "fdopen"])
@pytest.mark.parametrize("turn", range(len(WANTED)))
@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_whatever_breaks_leaves_each_file_whole(
    root: Path, monkeypatch: pytest.MonkeyPatch, name: str, turn: int, error: BaseException
) -> None:
    for one in WANTED:
        other_version(root, one)
    old = {one.path: content(root, one) for one in WANTED}
    with monkeypatch.context() as patch:
        patch.setattr(os, name, failing_at(turn, getattr(os, name), error))
        if isinstance(error, OSError):
            done = put(plan(root, WANTED, FOLDERS))
            assert done.error is error
            assert len(done.paths) == (turn if name == "replace" else 0)
        else:
            with pytest.raises(KeyboardInterrupt):
                put(plan(root, WANTED, FOLDERS))
    each_is_whole(root, old)
    assert put(plan(root, WANTED, FOLDERS)).error is None
    assert all(content(root, one) == one.content for one in WANTED)


def test_a_file_system_that_takes_no_more(root: Path) -> None:
    """The kernel's own refusal, at the largest file: none of the others comes into its place."""
    before = snapshot(root)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limits[1]))  # the manual page is longer
    try:
        done = put(plan(root, WANTED, FOLDERS))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert isinstance(done.error, OSError)
    assert done.paths == []
    assert snapshot(root) == before
