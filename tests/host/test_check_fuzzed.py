"""Whatever the machine's files say: no check fails, and what cannot be told is told as such."""

import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import settings as tries
from hypothesis import strategies as st
from message_bench import OPEN
from pi_tree import FILES, GROUPS, MOUNTS, PASSWD, RUN, PiTree

from supervisor.control.publisher import StatusFile
from supervisor.host.check import examine_host
from supervisor.host.unit_files import unit_files
from supervisor.settings.model import SupervisorSettings

PATHS = sorted({*FILES, *(f"/{wanted.path}" for wanted in unit_files()), f"{RUN}/status.json",
                "/proc/net/tcp6", "/etc/systemd/system.conf", "/proc/812/cmdline"})  # fmt: skip
NASTY = (
    "", "\n", "\0", "-1", "0x", "²", "١", "9" * 400, "-" * 90, "0-", "0-99999999,1", "é\ud800",
    "[Manager]\nRuntimeWatchdogSec=\n", "[Manager]\nRuntimeWatchdogSec=9e9 ²s",
    "[Service]\nUser=\nGroup=\nExecStart=\n", "[Service]\nExecStart= \nSupplementaryGroups==\n",
    "#!/", "#!/\n", "#!/../../../../etc\n", "a:b:c", ":::::", "x:x:²:²:", f"h:x:{'9' * 300}:1",
    "gpio==\ngpio=99999-1\ngpio=0-999\ndtparam=\ndtoverlay=,,\ndtoverlay=w1-gpio,gpiopin=²\n[",
    "1 2 3:4 / / rw -", "1 2 3:4 / /\\777 ro - ", "1 2 ../..:4 / / rw - ext4 / ro,\n" * 3,
    "h\n 0: 0:210E 0 0A 0 0 0 0 0\n 1: x:210E 0:0 0A 0 0 0 0 0 \0\n", "a\n \n/dev/zram0\n\n",
)  # fmt: skip
CONTENTS = st.one_of(
    st.binary(max_size=300),
    st.sampled_from(NASTY).map(lambda text: text.encode("utf-8", "surrogatepass")),
    st.sampled_from((MOUNTS, PASSWD, GROUPS)).map(str.encode),
)


@tries(max_examples=30)
@given(
    contents=st.dictionaries(st.sampled_from(PATHS), CONTENTS, max_size=len(PATHS)),
    is_claimed=st.booleans(),
    has_settings=st.booleans(),
)
def test_random_bytes_in_any_file(
    hut_settings: SupervisorSettings,
    contents: dict[str, bytes],
    is_claimed: bool,
    has_settings: bool,
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        tree = PiTree(Path(folder), hut_settings if has_settings else None)
        StatusFile(tree.machine.at(RUN)).publish(OPEN)
        if is_claimed:
            tree.claim(RUN)
        tree.process(812, "python3 mine.py", "/dev/i2c-1", "socket:[4711]")
        for path, content in contents.items():
            tree.write(path, content)
        found = examine_host(tree.host(), patience_s=30.0)
        tree.let_go()
    broken = [f for f in found if "the look at it failed" in f.found or "no answer" in f.found]
    assert not broken
    assert all(f.found and f.group and f.id for f in found)


def test_each_file_alone_with_each_nasty_content(
    tmp_path: Path, hut_settings: SupervisorSettings
) -> None:
    tree = PiTree(tmp_path, hut_settings)
    for nasty in NASTY:
        for path in PATHS:
            tree.write(path, nasty.encode("utf-8", "surrogatepass"))
        found = examine_host(tree.host(), patience_s=30.0)
        assert not [f for f in found if "the look at it failed" in f.found], nasty


def test_folders_in_place_of_every_file(tmp_path: Path, hut_settings: SupervisorSettings) -> None:
    tree = PiTree(tmp_path, hut_settings)
    for path in FILES:
        tree.remove(path)
        tree.machine.at(path).mkdir()
    found = examine_host(tree.host(), patience_s=30.0)
    assert not [f for f in found if "the look at it failed" in f.found]
