"""The web block of a settings file, read by a process that ends with that.

What reads settings and checks them takes a third of the memory that the page would have, and none
of it is needed any more once the block is known.
"""

import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import click

from supervisor.cli.common import EXIT_FAILED, errors_in_words, fail, say

REMEDY = "\n  what to do: see what takes the memory of this machine, then start this again"


@dataclass(frozen=True)
class WebSettings:
    """As ``settings.model.Web`` has them."""

    listen: str
    port: int
    token_file: str | None
    certificate_file: str | None
    key_file: str | None


def web_settings(config: Path | None) -> WebSettings:
    """Without a file: what a file without that block says. A fault has been told in words, and
    leaves by its exit code. To be called before there are threads."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        _tell(config, writing)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        number = os.WTERMSIG(status)
        raise fail(f"holdwatch: what reads {_name(config)} was ended by signal {number}{REMEDY}")
    if status:
        raise click.exceptions.Exit(os.waitstatus_to_exitcode(status))
    return WebSettings(**json.loads(told))


def _tell(config: Path | None, writing: int) -> NoReturn:
    """In the child. It leaves at once: what is to be done at the end is its parent's."""
    code = EXIT_FAILED
    try:
        with os.fdopen(writing, "wb") as pipe:
            pipe.write(_read(config).encode())
        code = 0
    except click.exceptions.Exit as told:
        code = told.exit_code
    except MemoryError:
        say(f"holdwatch: memory ran out while it read {_name(config)}{REMEDY}")
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        sys.stderr.flush()
        os._exit(code)


def _name(config: Path | None) -> str:
    return str(config or "the settings")


def _read(config: Path | None) -> str:
    from supervisor.settings.model import Web  # here alone

    if config is None:
        return Web().model_dump_json()
    from supervisor.settings.load import load_settings

    with errors_in_words():
        return load_settings(config)[0].web.model_dump_json()
