"""What makes it at home in a shell: the page of the manual, completion of commands and options."""

from pathlib import PurePosixPath

import click
from click.shell_completion import ShellComplete, get_completion_class

from supervisor.host.man_page import NAME, man_page
from supervisor.host.own_mark import marked
from supervisor.host.unit_files import Wanted

# Below usr/local/share, where an administrator's go, and usr/share, where a package's go.
COMPLETIONS = {
    "bash": ("bash-completion/completions/holdwatch",) * 2,
    "zsh": ("zsh/site-functions/_holdwatch", "zsh/vendor-completions/_holdwatch"),
    "fish": ("fish/vendor_completions.d/holdwatch.fish",) * 2,
}
FIRST_LINES = {"zsh": 1}  # it knows a completion by its first line


def shell_files(group: click.Group, *, vendor: bool = False) -> list[Wanted]:
    """Made of the commands in ``group``; for a package's maker in the ``vendor`` places."""
    base = PurePosixPath("usr/share" if vendor else "usr/local/share")
    page = Wanted(base / "man/man1/holdwatch.1", marked(man_page(group), r".\"").encode())
    return [page, *(_completion(group, shell, base, vendor=vendor) for shell in COMPLETIONS)]


def _completion(group: click.Group, shell: str, base: PurePosixPath, *, vendor: bool) -> Wanted:
    text = marked(completion(group, shell), "#", below=FIRST_LINES.get(shell, 0))
    return Wanted(base / COMPLETIONS[shell][vendor], text.encode())


def completion(group: click.Group, shell: str) -> str:
    """The script by which bash, zsh or fish asks us back; it is click's own."""
    kind = get_completion_class(shell)
    if kind is None:
        raise ValueError(f"no completion is known for {shell}")
    # Not kind.source: that of bash asks for the version of a bash that may not be here.
    return ShellComplete.source(kind(group, {}, NAME, "_HOLDWATCH_COMPLETE")).lstrip()
