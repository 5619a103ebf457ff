"""The page beside a simulation: ``holdwatch web`` as the separate process it always is."""

import subprocess
import sys
from pathlib import Path

PATIENCE_S = 10.0


class PageProcess:
    """Started on entry, ended on exit. ``notice`` is its address, or why there is no page."""

    def __init__(self, run_dir: Path, port: int) -> None:
        self._command = [
            sys.executable, "-m", "supervisor", "web",
            "--run-dir", str(run_dir), "--state-dir", str(run_dir),
            "--port", str(port), "--until-eof",
        ]  # fmt: skip
        self.notice = ""

    def __enter__(self) -> "PageProcess":
        self._process = subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,  # never written to: it ends with this process, however that ends
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,  # Ctrl-C is for the simulation, which then ends this
        )
        assert self._process.stderr
        self.notice = self._process.stderr.readline().strip()
        if not self.notice.startswith("Page:"):
            self.notice += "; choose another port with --port, or 0 for any free one"
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin
        self._process.stdin.close()
        try:
            self._process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        assert self._process.stderr
        self._process.stderr.close()
