"""The program as a shell uses it: pipes that end, disks that are full, options anywhere, words that are true."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from armarc.cli import app as program_app
from armarc.cli import commands, log_options, terminal
from armarc.cli.app import ErrorBoundary
from armarc.errors import LogError
from armarc.log import open_log
from grids import seldom
from log_program import real_log, recordings, run

STRICT = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"


@pytest.fixture
def environment(tmp_path):
    own = {"ARMARC_LOG": str(tmp_path / "log.sqlite"), "ARMARC_CONFIG_DIR": str(tmp_path / "config")}
    return {**os.environ, **own, "PYTHONPATH": os.pathsep.join(sys.path)}


def armarc(*words, environment, **other):
    command = [sys.executable, "-m", "armarc", *map(str, words)]
    return subprocess.run(command, capture_output=True, env=environment, timeout=60, check=False, **other)


@pytest.fixture(scope="module")
def program():
    """The whole program, for this process: every command, and the options that stand anywhere."""
    whole = typer.Typer(cls=ErrorBoundary, pretty_exceptions_enable=False)
    whole.callback()(program_app.common)
    commands.register(whole)
    yield whole
    terminal.MANNER.quiet = terminal.MANNER.verbose = False


def within(program, *words, environment, **other):
    """The same without a process of its own, where streams are not what is tried."""
    done = CliRunner().invoke(program, [str(word) for word in words], env=environment, **other)
    command = ["armarc", *words]
    return subprocess.CompletedProcess(command, done.exit_code, done.stdout_bytes, done.stderr_bytes)


@pytest.mark.parametrize(
    "words",
    [["process", STRICT], ["--help"], *seldom(["process", STRICT, "--json"], ["exercises", "--json"])],
)
def test_a_reader_that_has_seen_enough_is_no_fault(words, environment):
    """As ``| head -1``: the pipe is closed before or while the program writes."""
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "armarc", *map(str, words)]
    with os.fdopen(write, "wb") as closed:
        done = subprocess.run(
            command, stdout=closed, stderr=subprocess.PIPE, env=environment, timeout=60, check=False
        )
    assert b"Traceback" not in done.stderr
    assert b"Broken" not in done.stderr
    assert b"Exception" not in done.stderr
    assert done.returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full here")
@pytest.mark.parametrize("words", [["process", STRICT, "--log"], ["exercises"], *seldom(["--help"])])
def test_a_full_disk_is_said_as_such_and_what_was_done_is_not_denied(words, environment):
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "armarc", *map(str, words)],
            **{"stdout": full, "stderr": subprocess.PIPE, "env": environment, "timeout": 60, "check": False},
        )
    said = done.stderr.decode()
    assert done.returncode == 2
    assert "No space left on device" in said
    assert "unexpected" not in said
    assert "nothing was changed" not in said
    if "--log" in words:
        assert f"the log {environment['ARMARC_LOG']} was changed" in said
        with open_log(environment["ARMARC_LOG"], create=False) as store:
            from armarc.log.reading import count_sets

            assert count_sets(store) == 1


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_half_an_output_is_no_success(tmp_path, environment, unbuffered):
    """Where a file can take a part only, as on a disk that fills; Python without buffers takes that for all of it."""
    resource = pytest.importorskip("resource")
    most = 20_000
    with open(tmp_path / "half.json", "wb") as half:
        done = subprocess.run(
            [sys.executable, "-m", "armarc", "process", STRICT, "--json"], stdout=half, stderr=subprocess.PIPE,
            env={**environment, "PYTHONUNBUFFERED": unbuffered}, timeout=60, check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)),
        )  # fmt: skip
    assert (tmp_path / "half.json").stat().st_size == most
    assert done.returncode == 2
    assert b"the output cannot be written" in done.stderr


def test_a_fault_after_a_set_was_logged_says_both(tmp_path, monkeypatch):
    log = tmp_path / "log.sqlite"
    monkeypatch.setattr("armarc.cli.batch.plain_table", lambda *_: 1 / 0)
    said = run("process", STRICT, "--log-file", log, code=1).stderr
    assert "unexpected fault: ZeroDivisionError" in said
    assert f"before that the log {log} was made; the log {log} was changed" in said
    assert "nothing was changed" not in said
    monkeypatch.setattr("armarc.cli.batch.plain_table", lambda *_: 1 / 0)
    assert "before that" not in run("process", STRICT, code=1).stderr


def test_a_log_that_fails_at_the_second_file_does_not_deny_the_first(tmp_path, monkeypatch):
    from armarc.cli import batch

    write = batch.write_log

    def failing(measured, entry):
        if measured.path.name == "s2.csv":
            raise LogError("the log is gone", "look for it")
        return write(measured, entry)

    monkeypatch.setattr(batch, "write_log", failing)
    files = [recordings() / "s1.csv", recordings() / "s2.csv"]
    said = run("process", *files, "--log-file", tmp_path / "log.sqlite", code=5).stderr
    assert "s1.csv: log" in said
    assert "the log is gone" in said
    assert "nothing was changed" not in said


def test_standard_input_is_a_file_like_any_other(environment, program):
    content = STRICT.read_bytes()
    piped = armarc("process", "-", "--json", environment=environment, input=content)
    named = within(program, "process", STRICT, "--json", environment=environment)
    one, other = json.loads(piped.stdout), json.loads(named.stdout)
    assert one["source"].pop("file") == "-"
    del other["source"]["file"]
    assert one == other
    empty = within(program, "process", "-", environment=environment, input=b"")
    assert empty.returncode == 3
    assert empty.stderr.startswith(b"armarc: standard input: the file is empty")
    still = within(
        program, "process", "-", environment=environment, input=b"\n".join(content.split(b"\n")[:200])
    )
    assert still.returncode == 6
    assert b"armarc: standard input: no rep was found" in still.stderr
    two = within(program, "process", "-", STRICT, environment=environment, input=b"")
    assert b"armarc: standard input: the file is empty" in two.stderr
    small = {**environment, "ARMARC_LARGEST_MB": "1"}
    flood = within(program, "process", "-", environment=small, input=b"0,1,2,3,4,5,6\n" * 200_000)
    assert flood.returncode == 3
    assert b"goes on beyond 1 MB" in flood.stderr


def foreign(path: Path) -> Path:
    """The strict set as a logger without units would write it."""
    lines = [line for line in STRICT.read_text().splitlines() if not line.startswith("#")]
    rows = ["t,acc x,acc y,acc z,gyro x,gyro y,gyro z", *lines[1:]]
    path.write_text("\n".join(rows) + "\n")
    return path


def test_quiet_and_verbose_and_debug_stand_anywhere(environment, tmp_path, program):
    def armarc(*words):
        return within(program, *words, environment=environment)

    file = foreign(tmp_path / "set.csv")
    plain, loud = (armarc("process", file, *more) for more in ([], ["--verbose"]))
    assert plain.returncode == 0
    assert plain.stderr.count(b"\n") < loud.stderr.count(b"\n")
    assert b"more such notes on reading it with --verbose" in plain.stderr
    for words in (["--quiet", "process", file], ["process", file, "--quiet"]):
        done = armarc(*words)
        assert (done.returncode, done.stdout, done.stderr) == (0, plain.stdout, b"")
    wrong = armarc("process", tmp_path / "none.csv", "--quiet")
    assert b"there is no such file" in wrong.stderr
    both = armarc("process", file, "--quiet", "--verbose")
    assert both.returncode == 2
    text = armarc("process", "--", "--debug")
    assert text.returncode == 3, "behind -- it is the name of a file"
    assert armarc("-V").stdout == armarc("--version").stdout


def test_debug_shows_where_a_fault_came_from(environment, tmp_path):
    done = armarc("process", tmp_path / "none.csv", "--debug", environment=environment)
    assert b"Traceback" in done.stderr


@pytest.mark.parametrize("words", [["process", STRICT], ["exercises"], *seldom(["settings"])])
def test_a_pipe_is_a_pipe_whatever_the_colours(words, environment):
    plain = armarc(*words, environment=environment)
    for colour in ({"FORCE_COLOR": "1"}, {"FORCE_COLOR": "1", "TTY_COMPATIBLE": "1"}):
        coloured = armarc(*words, environment=environment | colour)
        assert coloured.stdout == plain.stdout
        assert b"\x1b" not in coloured.stdout
        assert b"\t" in coloured.stdout


def answered(answer: bytes, words: list[str], environment: dict[str, str]) -> tuple[int, str]:
    """Run on a terminal of its own and answer its question."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "armarc", *words]
    process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment)
    os.close(theirs)
    os.write(ours, answer)
    said = b""
    try:
        while block := os.read(ours, 4096):
            said += block
    except OSError:  # how a terminal says that the other side is gone
        pass
    os.close(ours)
    return process.wait(30), said.decode()


def test_declining_is_told_from_doing(tmp_path, environment):
    log = str(real_log(tmp_path))
    code, said = answered(b"n\n", ["log", "remove", "last", "--log-file", log], environment)
    assert "Remove 1 set?" in said
    assert code == 1
    code, _ = answered(b"y\n", ["log", "remove", "last", "--log-file", log], environment)
    assert code == 0


def test_a_dry_run_of_purge_and_restore_changes_nothing(tmp_path):
    log = real_log(tmp_path)
    run("log", "backup", tmp_path / "backup.zip", "--log-file", log)
    run("log", "remove", "1", "2", "--yes", "--log-file", log)

    def state():
        files = [
            path
            for path in tmp_path.rglob("*")
            if path.is_file() and not path.name.endswith(("-wal", "-shm"))
        ]
        with open_log(str(log)) as store, store.reading() as connection:
            rows = connection.exec_driver_sql("SELECT id, removed_at FROM training_set").fetchall()
        return sorted(files), rows

    before = state()
    said = run("log", "purge", "--dry-run", "--log-file", log).stderr
    assert "would delete 2 sets and 1 recording for good" in said
    assert state() == before
    said = run("log", "restore", tmp_path / "backup.zip", "--dry-run", "--replace", "--log-file", log).stderr
    assert "would bring 6 sets and 3 recordings" in said
    assert "moved aside" in said
    assert state() == before
    run(
        "log",
        "restore",
        tmp_path / "backup.zip",
        "--dry-run",
        "--log-file",
        tmp_path / "elsewhere" / "log.sqlite",
    )
    assert not (tmp_path / "elsewhere").exists()
    (tmp_path / "cut.zip").write_bytes((tmp_path / "backup.zip").read_bytes()[:-400])
    run("log", "restore", tmp_path / "cut.zip", "--dry-run", "--log-file", log, code=5)
    assert "deleted" in run("log", "purge", "--yes", "--log-file", log).stderr


def offered(environment: dict[str, str], *lines: list[str]) -> list[set[str]]:
    """What the shell would offer for each line, asked as bash's completion asks, one start for all of them."""
    start = f"""
import os, sys
from armarc.cli import main
for words in {lines!r}:
    os.environ["COMP_WORDS"], os.environ["COMP_CWORD"] = " ".join(["armarc", *words]), str(len(words))
    sys.argv = ["armarc"]
    try:
        main()
    except SystemExit:
        print("over", flush=True)
"""
    asked = environment | {"_ARMARC_COMPLETE": "complete_bash"}
    words = [sys.executable, "-c", start]
    done = subprocess.run(words, capture_output=True, text=True, env=asked, timeout=60, check=False)
    *each, behind = done.stdout.split("over\n")
    assert (len(each), behind) == (len(lines), ""), done.stderr
    return [set(one.split("\n")) - {""} for one in each]


def test_the_shell_offers_values(environment, program):
    lifter = ["log", "list", "--lifter", "Z"]
    lines = [["process", "--exercise", "l"], ["process", "--side", "l"], ["live", "--mounting", "t"]]
    exercises, sides, mountings, measures, nobody = offered(environment, *lines, ["trend", "rom"], lifter)
    assert {"lateral-raise", "leaning-lateral-raise"} & exercises
    assert (sides, mountings, nobody) == ({"left"}, {"twist"}, set())
    assert "rom_deg" in measures
    within(program, "process", STRICT, "--log", "--lifter", "Zoë", environment=environment)
    assert offered(environment, lifter) == [{"Zoë"}]


def test_the_program_keeps_no_talk_of_an_earlier_run():
    fresh = typer.Typer(cls=ErrorBoundary)
    fresh.callback()(program_app.common)
    fresh.command("settings")(lambda: log_options.say("hello"))
    command = typer.main.get_command(fresh)
    command.main(["settings", "--quiet"], standalone_mode=False)
    assert terminal.MANNER.quiet
    command.main(["settings"], standalone_mode=False)
    assert not terminal.MANNER.quiet


@pytest.mark.parametrize("letter", ["–", "…", "°", "Ł", "é", "山", "\udcff", "●"])
def test_plain_letters_can_always_be_written(letter):
    terminal.prepare_streams()
    for encoding in ("ascii", "cp437", "cp932", "koi8-r"):
        assert re.fullmatch(r"[ -~]+|.", letter.encode(encoding, terminal.PLAIN_ERRORS).decode(encoding))
    assert "–…é".encode("ascii", terminal.PLAIN_ERRORS) == b"-...e"


def test_the_demo_and_the_pages_are_there_without_a_checkout(tmp_path, environment, program):
    def armarc(*words):
        return within(program, *words, environment=environment)

    made = armarc("demo", tmp_path / "demo", "--only", "strict-raise")
    assert made.returncode == 0, made.stderr
    assert (tmp_path / "demo" / "strict-raise.csv").read_bytes() == STRICT.read_bytes()
    wrong = armarc("demo", tmp_path / "demo", "--only", "perfect-raise")
    assert wrong.returncode == 2
    assert b"choose from: strict-raise" in wrong.stderr
    kept = armarc("about").stdout.decode()
    assert environment["ARMARC_LOG"] in kept
    assert environment["ARMARC_CONFIG_DIR"] in kept
    from armarc import __version__

    for page, words in (
        *(
            ("licence", "armarc contributors"),
            ("changes", "# Changes"),
            ("citing", f"version = {{{__version__}}}"),
        ),
        *(("profile", "# The wrist profile"),),
    ):
        shown = armarc("about", page)
        assert shown.returncode == 0, shown.stderr
        assert words in shown.stdout.decode()
    assert armarc("about", "nothing").returncode == 2


def test_every_demo_recording_is_made_as_its_header_says():
    from armarc.cli.demo import RECORDINGS
    from armarc.recording import read_csv

    folder = STRICT.parent
    assert {path.name for path in folder.glob("*.csv")} == set(RECORDINGS)
    for name, options in RECORDINGS.items():
        assert read_csv(folder / name).metadata.note.endswith(f"Made with: armarc simulate {name} {options}")


def test_cautions_are_said_once_in_a_run(environment):
    files = [str(STRICT.with_name(name)) for name in ("three-sets.csv", "strict-raise.csv")]
    code, said = answered(
        b"", ["process", *files, "--quiet"], environment | {"COLUMNS": "200", "NO_COLOR": "1"}
    )
    assert code == 0
    assert said.count(" · Set ") == 4
    for caution in (
        "not muscle, tendon or joint contact forces",
        "not advice to swing a load",
        "Pain means stop",
    ):
        assert said.count(caution) == 1, caution
        assert said.rindex("Resistance") < said.index(caution), "below everything it belongs to"
    assert said.count("working band 45-70 °/s, no source") == 4


def test_a_quiet_capture_says_nothing_of_its_progress(capsys, monkeypatch):
    from armarc.cli.capture_progress import Talk

    Talk(1).say("120 samples")
    assert "120 samples" in capsys.readouterr().err
    monkeypatch.setattr(terminal.MANNER, "quiet", True)
    Talk(1).say("120 samples")
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_ctrl_c_while_the_finished_program_ends_changes_nothing() -> None:
    # An interpreter takes a moment to end: a hail of signals from the moment the command has done its work.
    hail = "['sh', '-c', f'while kill -INT {os.getpid()}; do :; done'], stdout=-3, stderr=-3"
    start = f"import atexit, os, subprocess, sys\natexit.register(lambda: subprocess.Popen({hail}).pid)\n"
    start += "sys.argv = ['armarc', '--version']\nfrom armarc.cli import main\nmain()"
    ended = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", start], capture_output=True, text=True, timeout=60
    )
    assert ended.returncode == 0
    assert ended.stdout.startswith("armarc ")


def test_ctrl_c_while_the_program_starts_leaves_no_trace(environment):
    """A coach who thinks better of it at once: libraries are being loaded then."""
    program = (
        "import sys\n"
        "class Interrupted:\n"
        "    def find_spec(self, name, path, target=None):\n"
        "        if name == 'typer':\n"
        "            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Interrupted())\n"
        "sys.argv = ['armarc', '--version']\n"
        "import armarc.__main__\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, env=environment, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (130, b"", b"")


def test_a_log_that_was_only_made_is_not_called_changed(tmp_path, monkeypatch):
    log = tmp_path / "log.sqlite"

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("armarc.log.vault.write_whole", full)
    said = run("process", STRICT, "--log-file", log, code=5).stderr
    assert "no set of it was logged" in said
    assert f"before that the log {log} was made" in said
    assert "changed" not in said
