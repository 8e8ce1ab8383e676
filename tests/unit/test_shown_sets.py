"""What stands below the sets of a recording on a terminal."""

from dataclasses import replace

from armarc.cli.shown_sets import cautions_of
from armarc.options import MeasuringOptions
from armarc.results import ReadSource, Result, SetResult, UsedSettings
from invented_sets import invent


def test_cautions_are_said_without_a_load_too():
    used = UsedSettings(options=MeasuringOptions(exercise="lateral-raise"))
    none = Result(version="", source=ReadSource(), settings=used, mounting=None, sets=())
    result = replace(none, sets=(SetResult.of(invent(3)[1]),))
    said = cautions_of(result)
    assert any("raising hurts" in caution for caution in said)
    assert any("not a medical device" in caution for caution in said)
    assert len(said) == len(set(said))
    assert cautions_of(none) == []
