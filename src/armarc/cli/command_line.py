"""The command line that makes something again, to stand in its header."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import typer


def command_line(ctx: typer.Context, out: Path) -> str:
    """The command that makes this recording again, without folders and defaults."""
    words = ["armarc", "simulate", out.name]
    for option in ctx.command.params:
        value = ctx.params.get(option.name or "")
        if option.param_type_name != "option" or option.name == "force" or value in (None, option.default):
            continue
        name = max(option.opts, key=len)
        if isinstance(value, bool):
            words.append(name if value else option.secondary_opts[0])
        else:
            for one in value if isinstance(value, list | tuple) else [value]:
                words += [name, f"{one:g}" if isinstance(one, float) else str(one)]
    return " ".join(map(quoted, words))


def quoted(word: str) -> str:
    """A word for the shells of every system: double quotes, unless something in it has a meaning inside them."""
    if re.fullmatch(r"[\w+./:=,@%-]+", word):
        return word
    return f'"{word}"' if word and not re.search(r'["$`\\!%]', word) else shlex.quote(word)
