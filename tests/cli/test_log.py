"""The daemon's log never holds the loop up."""

import logging
import subprocess
import sys

PROGRAM = """
import logging, sys
from supervisor.cli.log import BackgroundLog
log = BackgroundLog()
for number in range(20_000):
    logging.getLogger("supervisor").warning("record %d %s", number, "x" * 100)
print("through", flush=True)
log.close()
print("ended", flush=True)
"""


def test_a_reader_that_stalls_holds_nobody_up() -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout
    assert process.stderr
    assert [process.stdout.readline() for _ in range(2)] == ["through\n", "ended\n"]
    process.kill()
    process.wait()
    process.stdout.close()
    process.stderr.close()


def test_what_is_logged_arrives() -> None:
    program = PROGRAM.replace("20_000", "3")
    result = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=30, check=True
    )
    assert result.stderr.count("WARNING supervisor: record") == 3
    assert logging.getLogger("supervisor").handlers == []
