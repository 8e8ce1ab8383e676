"""Handing a measured set on: to a command, into the training log."""

from __future__ import annotations

import json
import shlex
import subprocess
import tempfile
from pathlib import Path

from armarc.errors import ArmarcError, UsageError
from armarc.live.offline import MeasuredLive

HOOK_LIMIT_S = 60.0


def parse_hook(text: str) -> list[str]:
    """Split a hook command into words; no shell runs.

    Raises
    ------
    UsageError
        For an empty command or unclosed quotes.
    """
    try:
        words = shlex.split(text)
    except ValueError as error:
        raise UsageError(f"the hook command cannot be read: {error}", "check its quotes") from error
    if not words:
        raise UsageError(
            "the hook command is empty", "name a program, for example --hook 'python3 after_set.py'"
        )
    return words


def run_hook(command: list[str], measured: MeasuredLive) -> str:
    """Give a command the set as one JSON object on its stdin; return what went wrong, or an empty text."""
    text = json.dumps(measured.record(), allow_nan=False, ensure_ascii=False) + "\n"
    try:
        done = subprocess.run(
            command,
            input=text.encode(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            timeout=HOOK_LIMIT_S,
        )
    except subprocess.TimeoutExpired:
        return f"the hook {command[0]} did not finish within {HOOK_LIMIT_S:.0f} s and was stopped"
    except OSError as error:
        return f"the hook {command[0]} cannot be run: {error.strerror or error}"
    if done.returncode:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        return f"the hook {command[0]} failed ({done.returncode})" + (f": {said[-1]}" if said else "")
    return ""


def log_set(measured: MeasuredLive, log: str | None) -> tuple[str, bool]:
    """Write a measured set with its raw samples into the training log.

    Parameters
    ----------
    measured : MeasuredLive
    log : str or None
        Where the log is; None for the usual place.

    Returns
    -------
    (str, bool)
        What to say, and whether it is logged.
    """
    if measured.result is None:
        return f"set {measured.number} is not in the log: {measured.problem}", False
    from armarc.log.adding import add_result
    from armarc.log.store import open_log
    from armarc.recording import write_csv

    try:
        with tempfile.TemporaryDirectory(prefix="armarc-") as folder:
            path = Path(folder) / f"live-set-{measured.number}.csv"
            write_csv(measured.raw, path)
            with open_log(log) as store:
                added = add_result(store, measured.result, path)
    except ArmarcError as error:
        return f"set {measured.number} is not in the log: {error}", False
    return f"set {measured.number} is in the log ({added.status})", True
