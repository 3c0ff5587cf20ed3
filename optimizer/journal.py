"""The lock of a journal file: held by the kernel, so that it ends with the process that holds it."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from typing import IO

from optuna.storages.journal import JournalFileOpenLock


class KernelLock(JournalFileOpenLock):
    """Exclusive lock on a file beside the journal; mends a line that a killed process left unfinished.

    Parameters
    ----------
    journal : Path
        The journal [path].
    """

    def __init__(self, journal: Path) -> None:
        super().__init__(str(journal))
        self._journal = journal
        self._beside = journal.with_name(f"{journal.name}.lock")
        self._held: IO[bytes] | None = None

    def acquire(self) -> bool:
        """Wait for the lock."""
        while self._held is None:
            held = self._beside.open("ab")
            fcntl.flock(held, fcntl.LOCK_EX)
            if _is_at(held, self._beside):
                self._held = held
            else:  # removed by who held it before: others lock the file that has its name now
                held.close()
        self._mend()
        return True

    def release(self) -> None:
        """Give the lock back."""
        if self._held is not None:
            self._held.close()
            self._held = None

    def remove(self) -> None:
        """Remove the lock's file; a process that waits for it makes a new one."""
        self.acquire()
        self._beside.unlink()
        self.release()

    def _mend(self) -> None:
        with self._journal.open("rb+") as file:
            size = file.seek(0, 2)
            if size == 0:
                return
            file.seek(size - 1)
            if file.read(1) == b"\n":
                return
            file.seek(0)
            whole = file.read()
            file.truncate(whole.rfind(b"\n") + 1)


def _is_at(file: IO[bytes], path: Path) -> bool:
    """Whether an open file is the one that a path names."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except FileNotFoundError:
        return False
