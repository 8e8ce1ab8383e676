"""What is done otherwise on Windows and macOS, with the one module in question made to believe it is there.

Nothing here ran on those systems; what they do is from their documentation, from memory.
"""

from __future__ import annotations

import asyncio
import io
import os
import shlex
import signal
import socket
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from armarc.cli import capture_progress, keyboard
from armarc.computer import hold_alone, shell_word
from armarc.errors import UsageError
from armarc.live import after_set, tones
from armarc.live.desk import switch_of
from armarc.log import location, open_log
from armarc.log.backup import back_up, restore
from armarc.outputs import TABLE, Guard
from armarc.tasks import Task


def test_a_hook_keeps_the_backslashes_of_windows(monkeypatch):
    command = r'"C:\Program Files\py\python.exe" C:\tools\after.py --loud'
    monkeypatch.setattr(after_set.sys, "platform", "win32")
    assert after_set.parse_hook(command) == [
        r"C:\Program Files\py\python.exe",
        r"C:\tools\after.py",
        "--loud",
    ]
    with pytest.raises(UsageError):
        after_set.parse_hook('"C:\\open')
    monkeypatch.setattr(after_set.sys, "platform", "linux")
    assert after_set.parse_hook("'a b' c\\ d") == ["a b", "c d"]


def test_a_port_is_held_alone_where_the_system_would_share_it(monkeypatch):
    asked = []

    class Listener:
        def setsockopt(self, *words):
            asked.append(words)

    hold_alone(Listener())
    monkeypatch.setattr(socket, "SO_EXCLUSIVEADDRUSE", -5, raising=False)
    hold_alone(Listener())
    assert asked == [(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1), (socket.SOL_SOCKET, -5, 1)]


@pytest.fixture
def windows_folders(tmp_path, monkeypatch):
    """`platformdirs` as on Windows: with the author's folder before the program's, unless told otherwise."""

    def user_data_dir(name, appauthor=None):
        return str(tmp_path / name if appauthor is False else tmp_path / (appauthor or name) / name)

    monkeypatch.setattr("platformdirs.user_data_dir", user_data_dir)
    for name in (location.ENVIRONMENT_VARIABLE, "ARMARC_DATA_DIR"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


def test_the_doubled_data_folder_is_left_with_what_is_in_it(windows_folders):
    doubled = windows_folders / "armarc" / "armarc"
    with open_log(str(doubled / "log.sqlite")) as store:
        store.vault.put("0" * 64, ".csv", b"raw")
    found = location.find_location()
    assert found.file == windows_folders / "armarc" / "log.sqlite"
    with open_log(found, create=False) as store:
        assert store.vault.get("0" * 64, ".csv") == b"raw"
    assert not list(doubled.iterdir())
    assert location.find_location() == found


def test_a_log_in_use_stays_in_the_doubled_folder(windows_folders, monkeypatch):
    doubled = windows_folders / "armarc" / "armarc"
    open_log(str(doubled / "log.sqlite")).close()

    def busy(*_):
        raise PermissionError(13, "in use by another process")

    monkeypatch.setattr(location.os, "replace", busy)
    assert location.find_location().file == doubled / "log.sqlite"


def test_two_logs_are_never_mixed(windows_folders):
    for folder in ("armarc/armarc", "armarc"):
        open_log(str(windows_folders / folder / "log.sqlite")).close()
    assert location.find_location().file == windows_folders / "armarc" / "log.sqlite"
    assert (windows_folders / "armarc" / "armarc" / "log.sqlite").exists()


def opened_here() -> set[str]:
    """Files this process has open, as the kernel tells them."""
    names = set()
    for one in Path("/proc/self/fd").iterdir():
        try:
            names.add(os.readlink(one))
        except OSError:
            continue
    return names


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="the kernel does not list open files here")
def test_nothing_is_renamed_or_replaced_while_it_is_open(tmp_path, monkeypatch):
    """Windows refuses both; here they would go through unseen."""
    moved = []

    def check(*paths):
        moved.append(str(paths[0]))
        held = opened_here()
        assert not [str(path) for path in paths if str(path) in held]

    rename, replace = Path.rename, os.replace
    monkeypatch.setattr(Path, "rename", lambda old, new: (check(old, new), rename(old, new))[1])
    monkeypatch.setattr(os, "replace", lambda old, new: (check(old, new), replace(old, new))[1])
    log = tmp_path / "log.sqlite"
    with open_log(str(log)) as store:
        store.vault.put("0" * 64, ".csv", b"raw")
        back_up(store, tmp_path / "backup.zip")
    restore(tmp_path / "backup.zip", str(log), replace=True)
    with Guard().open(tmp_path / "reps.csv", TABLE) as stream:
        stream.write(b"file,set,rep\n")
    assert {Path(name).name for name in moved} >= {"log.sqlite", "log-recordings"}


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="the kernel does not list open files here")
def test_a_part_of_an_archive_is_closed_before_it_is_replaced(tmp_path, monkeypatch):
    pytest.importorskip("pyarrow", reason="the extra for archives is not installed")
    from armarc.archive.process import process_archive
    from armarc.archive.setup import make_setup
    from invented_archive import fill

    folder = fill(tmp_path / "in", 1, broken=1)
    process_archive(folder, tmp_path / "store", make_setup({}, {}), workers=1)
    replaced, replace = [], os.replace

    def checked(old, new):
        replaced.append(Path(new).suffix)
        held = opened_here()
        assert not {str(old), str(new)} & held
        replace(old, new)

    monkeypatch.setattr(os, "replace", checked)
    process_archive(folder, tmp_path / "store", make_setup({}, {}), workers=1, retry_failures=True)
    assert ".parquet" in replaced


def test_a_table_open_in_a_spreadsheet_is_left_and_said(tmp_path, monkeypatch):
    target = tmp_path / "reps.csv"
    target.write_bytes(b"file,set,old\n")

    def busy(*_):
        raise PermissionError(13, "in use by another process")

    monkeypatch.setattr("armarc.outputs.os.replace", busy)
    with pytest.raises(UsageError, match=r"reps\.csv: in use"), Guard().open(target, TABLE) as stream:
        stream.write(b"file,set,new\n")
    assert target.read_bytes() == b"file,set,old\n"
    assert list(tmp_path.iterdir()) == [target]


def test_a_line_is_renewed_without_escapes(monkeypatch):
    screen = io.StringIO()
    screen.isatty = lambda: True
    monkeypatch.setattr(capture_progress.sys, "stderr", screen)
    talk = capture_progress.Talk(1)
    talk._renew("a long line")
    talk._renew("short")
    assert "\x1b" not in screen.getvalue()
    assert screen.getvalue().endswith("\r           \rshort")


@pytest.mark.parametrize(
    ("platform", "first"), [("win32", "powershell"), ("darwin", "say"), ("linux", "espeak-ng")]
)
def test_each_system_speaks_with_its_own_voice(platform, first, monkeypatch):
    monkeypatch.setattr(tones.sys, "platform", platform)
    monkeypatch.setattr(tones.shutil, "which", lambda name: f"/bin/{name}")
    assert tones.find_speech()[0] == first


def test_ctrl_break_ends_a_session_where_the_loop_takes_no_signals(monkeypatch):
    monkeypatch.setattr(keyboard.signal, "SIGBREAK", signal.SIGUSR1, raising=False)
    monkeypatch.setattr(
        "asyncio.unix_events._UnixSelectorEventLoop.add_signal_handler",
        lambda *_: (_ for _ in ()).throw(NotImplementedError),
    )
    before = {one: signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM, signal.SIGUSR1)}

    async def session():
        asked = asyncio.Event()
        keyboard.call_when_asked_to_stop(asyncio.get_running_loop(), asked.set)
        os.kill(os.getpid(), signal.SIGUSR1)
        await asyncio.wait_for(asked.wait(), 5)

    try:
        asyncio.run(session())
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


class Console:
    """Keys that wait in a console of Windows, as its C runtime hands them over."""

    def __init__(self, keys):
        self.keys = list(keys)

    def kbhit(self):
        return bool(self.keys)

    def getwch(self):
        return self.keys.pop(0)


def test_keys_of_a_console_of_windows_give_the_orders_of_any_terminal(monkeypatch):
    # An arrow (two characters) is no key; backspace is ^H and Enter a carriage return there.
    monkeypatch.setitem(sys.modules, "termios", None)
    monkeypatch.setitem(sys.modules, "msvcrt", Console("\xe0Hk99\b\b12kg\rsü"))
    monkeypatch.setattr(keyboard.sys, "stdin", SimpleNamespace(isatty=lambda: True))
    orders, shown = [], []
    desk = SimpleNamespace(next_task=Task(exercise="lateral-raise", side="right"), done=[], lifting=False)
    session = SimpleNamespace(
        scoreboard=SimpleNamespace(keys=False, typing=""), desk=desk, lifters=(), exercises=(),
        order=orders.append, refresh=lambda: shown.append(session.scoreboard.typing),
    )  # fmt: skip

    async def lifting():
        with keyboard.keyboard(session):
            assert session.scoreboard.keys
            await asyncio.sleep(3 * keyboard.LOOK_EVERY_S)
        return len(asyncio.all_tasks())

    assert asyncio.run(lifting()) <= 2
    assert "load (8kg, 17.5lb): 9▏" in shown
    assert orders == [switch_of(load="12kg"), switch_of(side="left")]


def test_without_any_terminal_no_keys_are_taken(monkeypatch):
    for name in ("termios", "msvcrt"):
        monkeypatch.setitem(sys.modules, name, None)
    scoreboard = SimpleNamespace(keys=False)

    async def lifting():
        with keyboard.keyboard(SimpleNamespace(scoreboard=scoreboard)):
            assert not scoreboard.keys

    asyncio.run(lifting())


@pytest.mark.parametrize(
    "word", ["set.csv", "my set.csv", "ü 1.csv", "it's.csv", 'a "b".csv', "$HOME x", "-7.5", ""]
)
def test_a_simulated_header_quotes_for_every_shell(word):
    said = shell_word(word)
    assert shlex.split(said) == [word]
    if " " in word and not set(word) & set('"$'):
        assert said == f'"{word}"'


@pytest.mark.skipif(sys.platform == "win32", reason="rights of folders are others there")
def test_the_folder_of_a_log_is_the_owners_alone(tmp_path):
    with open_log(str(tmp_path / "new" / "log.sqlite")) as store:
        store.vault.put("0" * 64, ".csv", b"raw")
    for name in ("new", "new/log-recordings"):
        assert (tmp_path / name).stat().st_mode & 0o777 == 0o700
