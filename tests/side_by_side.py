"""The tests in two processes at once: each takes the next file of tests that nobody has taken.

Run as a program with the arguments of pytest: `python tests/side_by_side.py -m "not long"`. Files whose tests share the
runs of the demo are taken together, so that these are made once.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

PROCESSES = 2
TAKEN, TURN = "SPREADMAP_TESTS_TAKEN", "SPREADMAP_TESTS_TURN"
"""Variables that tell a process of the tests the folder of files that are taken, and which process it is."""
SHARED_FIXTURE = "demo_runs"


class Taking:
    """A plugin of pytest that leaves out every file that another process has taken."""

    def __init__(self, folder, turn):
        self.folder, self.turn = Path(folder), turn
        self.group, self.mine = {}, {}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items):
        """Find out which files go together; every second process begins at the end."""
        for item in items:
            if SHARED_FIXTURE in item.fixturenames:
                self.group[item.path] = SHARED_FIXTURE
        if self.turn % 2:
            files = list(dict.fromkeys(item.path for item in items))
            place = {path: number for number, path in enumerate(files)}
            items.sort(key=lambda item: -place[item.path])

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_protocol(self, item):
        """Pass over a test whose file is another process's."""
        return None if self.takes(self.group.get(item.path, str(item.path))) else True

    def takes(self, group):
        """Return whether the files of a group are this process's; the first that asks has them."""
        if group not in self.mine:
            try:
                (self.folder / group.replace(os.sep, "+")).touch(exist_ok=False)
                self.mine[group] = True
            except FileExistsError:
                self.mine[group] = False
        return self.mine[group]


def pytest_configure(config):
    """Take part in sharing where the variables say so."""
    if folder := os.environ.get(TAKEN):
        config.pluginmanager.register(Taking(folder, int(os.environ[TURN])))


def main(arguments):
    """Run the tests; print what each process said, the first one's at once. Return the worst exit code."""
    here = str(Path(__file__).parent)
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryFile() as said:
        asked = [sys.executable, "-m", "pytest", "-p", "side_by_side", *arguments]
        path = os.pathsep.join(filter(None, [here, os.environ.get("PYTHONPATH", "")]))
        started = [
            subprocess.Popen(
                asked, env=os.environ | {"PYTHONPATH": path, TAKEN: folder, TURN: str(turn)},
                stdout=said if turn else None, stderr=subprocess.STDOUT if turn else None,
            )
            for turn in range(PROCESSES)
        ]  # fmt: skip
        codes = [process.wait() for process in started]
        said.seek(0)
        sys.stdout.flush()
        sys.stdout.buffer.write(said.read())
    return max(map(abs, codes))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
