"""What the faces of a live session show, sound and send."""

from __future__ import annotations

import io
import json
import sys
import types
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from armarc.errors import UsageError
from armarc.live.after_set import Hooks, parse_hook
from armarc.live.engine import Engine
from armarc.live.events import GateCrossed, RepEnded
from armarc.live.offline import measure_live_set
from armarc.live.raster import Braille, digits, half_blocks, shape
from armarc.live.scoreboard import Scoreboard, scoreboard_for
from armarc.live.screen import draw
from armarc.live.tones import (
    LOUDNESS,
    PATTERNS,
    SOUND_RATE_HZ,
    Speaker,
    find_speech,
    open_player,
    sound_for,
    tone,
)
from armarc.live.web.access import Access, is_loopback, open_access
from armarc.live.web.face import scoreboard_message
from live_runs import choices_for, recording, run, sets_in

SIZES = [(80, 24), (100, 30), (150, 45), (220, 60), (60, 18), (30, 8), (20, 6)]


def scoreboards_of(reps: int = 5, **simulated_as: Any) -> list[Scoreboard]:
    """NewestScoreboard of a set: in the middle of its third rep, and after its end."""
    made, _ = recording(3, reps=reps, cheat_rep=3, **simulated_as)
    choices = choices_for(made)
    engine, scoreboard = Engine(choices, made.rate_hz), scoreboard_for(choices)
    scoreboards: list[Scoreboard] = []
    for t, f, w in zip(
        made.time_s.tolist(),
        made.specific_force_m_s2.tolist(),
        made.angular_velocity_rad_s.tolist(),
        strict=True,
    ):
        for event in engine.feed(t, tuple(f), tuple(w)):
            scoreboard.hear(event)
            if isinstance(event, GateCrossed) and event.rep == 3:
                scoreboard.tick(engine.time_s, engine.shown_rad, engine.bottom_rad)
                scoreboards.append(
                    replace(scoreboard, strip=list(scoreboard.strip), trace=scoreboard.trace.copy())
                )
        scoreboard.tick(engine.time_s, engine.shown_rad, engine.bottom_rad)
    for event in engine.finish():
        scoreboard.hear(event)
    return [*scoreboards, scoreboard]


def text_of(scoreboard: Scoreboard, width: int, height: int, **options: Any) -> str:
    console = Console(width=width, height=height, file=io.StringIO(), force_terminal=True, **options)
    console.print(draw(scoreboard, width, height), end="")
    return console.file.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize(("name", "pitch_hz"), [("below", 220.0), ("inside", 660.0), ("above", 1760.0)])
def test_tones_have_their_pitch(name: str, pitch_hz: float) -> None:
    sound = tone(name)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 1 << 17))
    loudest = np.argmax(spectrum) * SOUND_RATE_HZ / (1 << 17)
    # Two pips 45 ms apart split the line of the third tone; the others are plain.
    assert loudest == pytest.approx(pitch_hz, abs=12)


def test_tones_are_short_quiet_at_their_ends_and_clearly_different() -> None:
    for name, parts in PATTERNS.items():
        sound = tone(name)
        assert len(sound) == sum(round(length * SOUND_RATE_HZ) for _, length in parts)
        assert len(sound) / SOUND_RATE_HZ < 0.3
        assert abs(float(sound[0])) < 0.01
        assert abs(float(sound[-1])) < 0.01
        assert float(np.abs(sound).max()) <= LOUDNESS + 1e-6
    pitches = sorted(PATTERNS[name][0][0] for name in ("below", "inside", "above"))
    assert pitches[1] / pitches[0] >= 2
    assert pitches[2] / pitches[1] >= 2


def test_a_late_verdict_makes_no_sound() -> None:
    event = GateCrossed(time_s=1.0, rep=1, told_velocity_rad_s=1.0, verdict="inside")
    assert sound_for(event) == "inside"
    assert sound_for(replace(event, late=True)) is None
    made, _ = recording(reps=3)
    ended = next(e for e in run(made) if isinstance(e, RepEnded))
    assert sound_for(ended) == "tick"


def test_without_library_or_device_sound_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    player, reason = open_player()
    assert player is None
    assert "-m pip install" in reason

    def no_device(**_: Any) -> None:
        raise RuntimeError("no default output device")

    monkeypatch.setitem(sys.modules, "sounddevice", types.SimpleNamespace(OutputStream=no_device))
    player, reason = open_player()
    assert player is None
    assert "no default output device" in reason


def test_the_player_mixes_what_is_played_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    class Stream:
        def __init__(self, *, callback: Any, **_: Any) -> None:
            self.callback = callback

        def start(self) -> None: ...
        def stop(self) -> None: ...
        def close(self) -> None: ...

    monkeypatch.setitem(sys.modules, "sounddevice", types.SimpleNamespace(OutputStream=Stream))
    player, _ = open_player()
    assert player is not None
    player.play("inside")
    player.play("tick")
    heard = []
    for _ in range(40):
        block = np.ones((512, 1), np.float32)
        player._stream.callback(block, 512, None, None)
        heard.append(block[:, 0].copy())
    player.close()
    expected = np.zeros(40 * 512, np.float32)
    for name in ("inside", "tick"):
        expected[: len(tone(name))] += tone(name)
    np.testing.assert_allclose(np.concatenate(heard), expected, atol=1e-6)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_screen_fits_any_terminal(width: int, height: int) -> None:
    for scoreboard in scoreboards_of():
        lines = text_of(scoreboard, width, height, color_system=None).splitlines()
        assert len(lines) <= height
        assert max(map(len, lines)) <= width


def test_the_screen_says_in_words_and_shapes_what_colour_says() -> None:
    during, after = scoreboards_of()
    text = text_of(during, 80, 24, color_system=None)
    assert "°/s ABOVE THE BAND" in text
    assert "start slower" not in text, "it describes and does not order: the band has no source"
    assert "▲" in text
    assert "█" in text
    rest = text_of(after, 80, 24, color_system=None)
    assert "rest since the set" in rest
    assert "set 1: 5 reps" in rest
    assert "range " in rest
    assert "tempo" in rest
    assert "velocity loss" in rest


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    text = text_of(scoreboards_of()[0], 80, 24)
    assert "38;2" not in text
    assert "38;5" not in text


def test_the_sensor_is_mentioned_only_when_it_matters() -> None:
    _, scoreboard = scoreboards_of()
    scoreboard.battery_pct = 80
    assert "battery" not in text_of(scoreboard, 80, 24, color_system=None)
    scoreboard.battery_pct = 9
    assert "battery 9 %" in text_of(scoreboard, 80, 24, color_system=None)
    scoreboard.link = "link lost: nothing came for 2 s"
    assert "link lost" in text_of(scoreboard, 80, 24, color_system=None)
    assert scoreboard_message(scoreboard)["sensor"] == ["link lost: nothing came for 2 s", "battery 9 %"]


def test_raster_shapes_differ_by_outline() -> None:
    down, disc, up = (shape(v, 20, 20) for v in ("below", "inside", "above"))
    assert not down[5][10]  # open
    assert disc[10][10]
    assert up[15][10]
    assert sum(up[18]) > sum(up[3])
    assert sum(disc[10]) > sum(disc[0])
    assert len(half_blocks(digits("12", 2, 2))) == 7
    canvas = Braille(2, 1)
    canvas.line(0, 0, 3, 3)
    assert canvas.lines()[0] == "⠑⢄"


def test_scoreboard_messages_are_json() -> None:
    for scoreboard in scoreboards_of():
        message = json.loads(json.dumps(scoreboard_message(scoreboard), allow_nan=False))
        assert message["exercise"] == "Lateral raise, dumbbell"
    assert message["rest_s"] > 0
    assert len(message["strip"]) == 5


@pytest.mark.parametrize("name", ["localhost", "127.0.0.1", "127.8.0.1", "::1", "[::1]"])
def test_loopback_names(name: str) -> None:
    assert is_loopback(name)


def test_loopback_needs_no_token_a_network_does() -> None:
    assert open_access("127.0.0.1", 1).token == ""
    one, other = open_access("0.0.0.0", 1), open_access("0.0.0.0", 1)
    assert len(one.token) >= 16
    assert one.token != other.token
    assert one.allows_token(one.token)
    assert not one.allows_token(other.token)
    assert not one.allows_token(None)
    with pytest.raises(UsageError):
        open_access("no/address", 1)


def test_foreign_hosts_and_origins_are_turned_away() -> None:
    local = Access(host="127.0.0.1", port=8765)
    assert local.allows_host("127.0.0.1:8765")
    assert local.allows_host("localhost:8765")
    for bad in ("example.org", "example.org:8765", "192.0.2.7:8765", None, "", "[::bad"):
        assert not local.allows_host(bad)
    open_ = Access(host="0.0.0.0", port=8765, token="t")
    assert open_.allows_host("192.0.2.7:8765")
    assert not open_.allows_host("example.org:8765")
    assert local.allows_origin("http://127.0.0.1:8765", "127.0.0.1:8765")
    assert local.allows_origin(None, "127.0.0.1:8765")
    for bad in ("http://example.org", "null", "http://127.0.0.1:9999", "file://"):
        assert not local.allows_origin(bad, "127.0.0.1:8765")


def test_hooks_are_split_without_a_shell() -> None:
    assert parse_hook("tell 'two words' $HOME") == ["tell", "two words", "$HOME"]
    for bad in ("", "  ", "open 'quote"):
        with pytest.raises(UsageError):
            parse_hook(bad)


def hooked(command: list[str], measured: Any, **options: Any) -> str:
    hooks = Hooks(command, **options)
    try:
        return hooks.submit(measured).result()
    finally:
        hooks.close()


def test_a_hook_gets_the_set_and_its_failure_is_told(tmp_path: Any) -> None:
    made, _ = recording(reps=4)
    (ended,) = sets_in(run(made))
    measured = measure_live_set(ended, choices_for(made), stamp="2024-05-01T10:00:00+00:00")
    out = tmp_path / "got.json"
    script = f"import sys; open({str(out)!r}, 'w').write(sys.stdin.read())"
    assert hooked([sys.executable, "-c", script], measured) == ""
    got = json.loads(out.read_text())
    assert got["event"] == "set measured"
    assert got["result"]["schema"] == "armarc.sets/1"
    assert got["result"]["sets"][0]["summary"]["reps"] == 4
    assert measured.raw.metadata.started_at == "2024-05-01T10:00:00+00:00"
    assert "failed (3): broken" in hooked(
        [sys.executable, "-c", "import sys; sys.stderr.write('broken'); sys.exit(3)"], measured
    )
    assert "cannot be run" in hooked([str(tmp_path / "nothing-here")], measured)


def test_speech_is_found_and_never_waited_for(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert find_speech() is None
    log = tmp_path / "said"
    fake = tmp_path / "espeak-ng"
    fake.write_text(
        f"#!{sys.executable}\nimport sys\nopen({str(log)!r}, 'a').write(sys.argv[-1] + chr(10))\n"
    )
    fake.chmod(0o755)
    command = find_speech()
    assert command is not None
    assert command[0] == "espeak-ng"
    speaker = Speaker([str(fake)])
    speaker.say("7")
    assert speaker._running is not None
    speaker._running.wait(10)
    assert log.read_text() == "7\n"
    speaker.hush()
