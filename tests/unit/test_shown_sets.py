"""What stands below the sets of a recording on a terminal."""

from armarc.cli.shown_sets import cautions_of


def test_cautions_are_said_without_a_load_too():
    result = {"sets": [{"reps": []}], "settings": {"exercise": "lateral-raise"}}
    said = cautions_of(result)
    assert any("raising hurts" in caution for caution in said)
    assert any("not a medical device" in caution for caution in said)
    assert len(said) == len(set(said))
    assert cautions_of({"sets": [], "settings": {"exercise": "lateral-raise"}}) == []
