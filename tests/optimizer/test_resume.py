"""Searches that are killed, gone on with, shared by several processes, and refused."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from pathlib import Path

import pytest

from optimizer.journal import KernelLock
from optimizer.outcomes import Task
from optimizer.study import JOURNAL, StorageError, Study
from tests.optimizer.conftest import SEASON

RESULTS = ("candidates.json", "candidates.csv", "front.csv", "topologies.csv")
SEARCH = """
topologies = ["closed box", "vented box", "fourth-order bandpass", "oA/Ao.Ao", "AB/Ao.Bo"]
effort = "quick"
candidates = 3
plans = false
"""


@pytest.fixture
def small(season_path: Path) -> Path:
    """A season of five topologies in the open air."""
    season_path.write_text(SEASON + SEARCH, encoding="utf-8")
    return season_path


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder of an undisturbed search by one process."""
    folder = tmp_path_factory.mktemp("alone")
    path = folder / "league.toml"
    path.write_text(SEASON + SEARCH, encoding="utf-8")
    assert search(path, "--out", folder / "run", "--workers", 1).returncode == 0
    return folder / "run"


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "optimizer.cli", "search", *map(str, arguments)]


def search(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command(*arguments), capture_output=True, text=True, timeout=600, check=False)


def same(one: Path, two: Path) -> bool:
    return all((one / name).read_bytes() == (two / name).read_bytes() for name in RESULTS)


def complete(journal: Path) -> int:
    """Finished trials in a journal."""
    if not journal.exists():
        return 0
    return sum('"state":1' in line for line in journal.read_text(encoding="utf-8").splitlines())


def kill_after(journal: Path, count: int, running: subprocess.Popen[bytes]) -> None:
    """Kill a process and what it started once a journal holds some finished trials."""
    while complete(journal) < count:
        assert running.poll() is None
        time.sleep(0.05)
    running.send_signal(signal.SIGKILL)
    running.wait()


def test_killed_search_ends_as_an_undisturbed_one(small: Path, tmp_path: Path, alone: Path) -> None:
    """Killed twice, with one process and with two, and gone on with: the same files."""
    broken = tmp_path / "broken"
    for count, workers, more in ((2, 1, []), (5, 2, ["--resume"])):
        arguments = command(small, "--out", broken, "--workers", workers, *more)
        with subprocess.Popen(arguments, stderr=subprocess.DEVNULL) as running:
            kill_after(broken / JOURNAL, count, running)
    before = complete(broken / JOURNAL)
    assert not (broken / "run.json").exists()
    done = search(small, "--out", broken, "--workers", 1, "--resume")
    assert done.returncode == 0, done.stderr
    assert same(alone, broken)
    tasks = json.loads((alone / "run.json").read_text())["counts"]["tasks"]
    assert before < tasks
    again = search(small, "--out", broken, "--workers", 1, "--resume")  # nothing is left to do
    assert again.returncode == 0
    assert same(alone, broken)


def test_changed_season_is_refused(small: Path, tmp_path: Path, alone: Path) -> None:
    out = tmp_path / "run"
    shutil.copytree(alone, out)
    results = (out / "candidates.json").read_bytes()
    text = small.read_text(encoding="utf-8")
    small.write_text(text.replace("candidates = 3", "candidates = 4"), encoding="utf-8")
    done = search(small, "--out", out, "--resume")
    assert done.returncode == 2
    line = text.splitlines().index("candidates = 3") + 1
    assert f"{small}:{line}: search.candidates: was 3 when the search began and is 4" in done.stderr
    assert "Traceback" not in done.stderr
    assert (out / "candidates.json").read_bytes() == results


@pytest.mark.parametrize("finished", [True, False])
@pytest.mark.parametrize("shared", [True, False])
def test_another_season_is_refused(
    small: Path, tmp_path: Path, alone: Path, finished: bool, shared: bool
) -> None:
    """A folder of a season with another name keeps its results, finished or not."""
    out = tmp_path / "run"
    shutil.copytree(alone, out)
    if not finished:
        (out / "run.json").unlink()
    storage = ["--storage", tmp_path / "league.journal"] if shared else []
    small.write_text(small.read_text(encoding="utf-8").replace("Test league", "Other league"))
    results = {path: path.read_bytes() for path in out.rglob("*") if path.suffix in (".csv", ".json")}
    done = search(small, "--out", out, "--resume", "--workers", 1, *storage)
    if finished or not shared:
        assert done.returncode == 2
        assert "season.name: was 'Test league' when the search began and is 'Other league'" in done.stderr
        assert "None" not in done.stderr
        assert all(path.read_bytes() == before for path, before in results.items())
    else:  # nothing says whose the folder is
        assert done.returncode == 0, done.stderr


def test_the_lock_ends_with_the_search(alone: Path) -> None:
    """A run folder keeps the journal, but not the file that locked it."""
    assert (alone / JOURNAL).is_file()
    assert not list(alone.glob("*.lock"))


def test_a_removed_lock_is_not_held(tmp_path: Path) -> None:
    """Who waited for a lock while its file was removed holds the new file, as everybody else."""
    journal = tmp_path / JOURNAL
    _study(str(journal))
    first, second = KernelLock(journal), KernelLock(journal)
    first.acquire()
    with ThreadPoolExecutor(2) as pool:
        waiting = pool.submit(second.acquire)
        time.sleep(0.1)
        journal.with_name(f"{JOURNAL}.lock").unlink()
        first.release()
        assert waiting.result(timeout=60)
        third = KernelLock(journal)
        late = pool.submit(third.acquire)
        assert wait([late], timeout=0.3).not_done, "two hold the lock at once"
        second.release()
        assert late.result(timeout=60)
    third.release()


@pytest.mark.parametrize(
    ("arguments", "key", "words"),
    [
        (["--resume", "--out", "nowhere"], "--resume", "nothing to go on with"),
        (["--resume"], "--resume", "there is no folder"),
        (["--study", "x"], "--study", "--storage, which is not given"),
        (["--storage", "nodatabase://x/y"], "--storage", "cannot open"),
        (["--storage", "no/disk/league.journal"], "--storage", "there is no folder no/disk"),
    ],
)
def test_bad_options(
    small: Path, tmp_path: Path, arguments: list[str], key: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = str(Path(__file__).resolve().parents[2])
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([root, os.environ.get("PYTHONPATH", "")]))
    monkeypatch.chdir(tmp_path)
    done = search(small, *arguments)
    assert done.returncode == 2
    assert key in done.stderr
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_two_commands_share_one_journal(small: Path, tmp_path: Path, alone: Path) -> None:
    """Both end with the same results, which are those of one alone, and both have worked."""
    journal = tmp_path / "shared.journal"
    outs = [tmp_path / "one", tmp_path / "two"]
    arguments = [command(small, "--storage", journal, "--out", out, "--workers", 1) for out in outs]
    running = [subprocess.Popen(a, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) for a in arguments]
    assert [process.wait(timeout=600) for process in running] == [0, 0]
    assert same(*outs)
    assert same(outs[0], alone)
    shared = _study(str(journal))
    owners = [trial.user_attrs["owner"]["process"] for trial in shared.study.get_trials()]
    assert len(set(owners)) == 2


def _study(storage: str) -> Study:
    return Study(storage, "Test league", ("oA",))


def test_torn_line_is_mended(tmp_path: Path) -> None:
    """What a killed process wrote of a line is taken off before the next line is written."""
    journal = tmp_path / JOURNAL
    study = _study(str(journal))
    study.set_content({"a": 1})
    whole = journal.read_bytes()
    with journal.open("ab") as file:
        file.write(b'{"op_code":8,"worker_id"')
    lock = KernelLock(journal)
    lock.acquire()
    lock.release()
    assert journal.read_bytes() == whole
    with journal.open("ab") as file:
        file.write(b'{"op_code":8,"worker_id"')
    assert _study(str(journal)).content == {"a": 1}


def test_claims_of_dead_processes_are_void(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A task is claimed once while its process lives, and again after it has died."""
    monkeypatch.setattr("optimizer.study.CLAIM_SECONDS", 0.0)
    task = Task(graph="oA", restart=0, effort="quick")
    one, two = _study(str(tmp_path / JOURNAL)), _study(str(tmp_path / JOURNAL))
    claim = one.claim([task])
    assert claim is not None
    assert two.claim([task]) is None
    with subprocess.Popen([sys.executable, "-c", ""]) as ended:
        pass
    claim[0].set_user_attr("owner", {"host": one._owner["host"], "process": ended.pid})
    second = two.claim([task])
    assert second is not None
    two.record(second[0], {"evaluations": 3, "best": None, "archive": None})
    assert one.outcomes() == {task: {"evaluations": 3, "best": None, "archive": None}}


def test_a_task_that_has_just_been_finished_is_not_claimed(tmp_path: Path) -> None:
    """A process that has not yet seen the outcome gets nothing, and looks again."""
    task = Task(graph="oA", restart=0, effort="quick")
    one, two = _study(str(tmp_path / JOURNAL)), _study(str(tmp_path / JOURNAL))
    claim = one.claim([task])
    assert claim is not None
    one.record(claim[0], {"evaluations": 1, "best": None, "archive": None})
    assert two.claim([task]) is None
    assert task in two.outcomes()


def test_a_task_that_is_just_being_claimed_is_taken(tmp_path: Path) -> None:
    """Processes that begin at one moment do not both take the first task."""
    task = Task(graph="oA", restart=0, effort="quick")
    one, two = _study(str(tmp_path / JOURNAL)), _study(str(tmp_path / JOURNAL))
    queued = {name: getattr(task, name) for name in one.space}
    one.study.enqueue_trial(queued, user_attrs={"token": "one", "owner": one._owner})
    asked = one.study.ask()
    assert not asked.params
    assert two.claim([task]) is None


def test_a_silent_process_elsewhere_has_died(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    task = Task(graph="oA", restart=0, effort="quick")
    one, two = _study(str(tmp_path / JOURNAL)), _study(str(tmp_path / JOURNAL))
    claim = one.claim([task])
    assert claim is not None
    claim[0].set_user_attr("owner", {"host": "elsewhere", "process": 1})
    assert two.claim([task]) is None
    monkeypatch.setattr("optimizer.study.SILENT_SECONDS", 0.0)
    assert two.claim([task]) is not None


def test_unusable_storage(tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    with pytest.raises(StorageError, match="cannot open"):
        _study(str(folder))
    text = tmp_path / "text"
    text.write_text("not a journal\n", encoding="utf-8")
    with pytest.raises(StorageError, match="cannot open"):
        _study(str(text))


def _postgres() -> Path | None:
    """Folder of the programs of a PostgreSQL server, where there is one."""
    found = shutil.which("initdb")
    places = [Path(found)] if found else sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return places[-1].parent if places else None


@pytest.fixture
def database(tmp_path: Path) -> Iterator[str]:
    """URL of a database on a server of its own, which ends with the test."""
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed")
    programs = _postgres()
    if programs is None:
        pytest.skip("no PostgreSQL server on this system")
    as_user: list[str] = []
    home = tmp_path / "postgres"
    home.mkdir()
    if os.geteuid() == 0:  # the server refuses to run as root
        if (
            shutil.which("runuser") is None
            or subprocess.run(["id", "postgres"], capture_output=True).returncode
        ):
            pytest.skip("no user to run a PostgreSQL server as")
        as_user = ["runuser", "-u", "postgres", "--"]
        shutil.chown(home, "postgres")
        for folder in (tmp_path, *tmp_path.parents):
            if folder.stat().st_uid == 0 and folder != Path("/"):
                folder.chmod(folder.stat().st_mode | 0o011)
    data = home / "data"
    quiet = {"check": True, "capture_output": True, "cwd": home}
    subprocess.run([*as_user, programs / "initdb", "-D", data, "-A", "trust", "-U", "league"], **quiet)  # type: ignore[call-overload]
    options = f"-c listen_addresses='' -k {home}"
    start = [*as_user, programs / "pg_ctl", "-D", data, "-w", "-o", options, "-l", home / "log", "start"]
    subprocess.run(start, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=home)
    try:
        yield f"postgresql+psycopg://league@/postgres?host={home}"
    finally:
        subprocess.run([*as_user, programs / "pg_ctl", "-D", data, "-m", "fast", "stop"], **quiet)  # type: ignore[call-overload]


def test_two_commands_share_a_database(small: Path, tmp_path: Path, alone: Path, database: str) -> None:
    """As on two machines: two commands join one race on a PostgreSQL server and end alike."""
    outs = [tmp_path / "one", tmp_path / "two"]
    arguments = [
        command(small, "--storage", database, "--study", "autumn", "--out", out, "--workers", 1)
        for out in outs
    ]
    running = [subprocess.Popen(a, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) for a in arguments]
    for process in running:
        _, errors = process.communicate(timeout=600)
        assert process.returncode == 0, errors
    assert same(*outs)
    assert same(outs[0], alone)
