"""What people type for a resistance."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from armarc.errors import ArmarcError, FormatError, InputError, UsageError
from armarc.load.grammar import parse_all, parse_resistances
from armarc.load.lifter import Lifter, Lifters, length_m, load_lifters, save_lifters
from armarc.load.resistance import Cable, Dumbbell, ElasticBand, Machine


def test_short_forms() -> None:
    assert parse_resistances("8kg") == (Dumbbell(mass_kg=8),)
    assert parse_resistances(" dumbbell:17.5 lb , beyond=2cm") == (
        Dumbbell(mass_kg=17.5 * 0.45359237, beyond_grip_m=0.02),
    )
    assert parse_resistances("cable:20kg,pulley=0.6/-0.9/0,ratio=2,friction=5%,moving=22kg") == (
        Cable(stack_kg=20, pulley_m=(0.6, -0.9, 0.0), ratio=2, friction=0.05, moving_mass_kg=22),
    )
    assert parse_resistances("cable:80N,pulley=30cm/-1.2/0") == (Cable(force_n=80, pulley_m=(0.3, -1.2, 0)),)
    assert parse_resistances("band:120N/m,anchor=0.1/-1.3/0,length=90cm") == (
        ElasticBand(anchor_m=(0.1, -1.3, 0), unstretched_m=0.9, stiffness_n_m=120),
    )
    assert parse_resistances("machine:30Nm") == (Machine(moment_table=((0.0, 30.0),)),)
    assert parse_resistances("MACHINE:60N,pad=0.3,inertia=0.5") == (
        Machine(force_table=((0.0, 60.0),), pad_m=0.3, inertia_kg_m2=0.5),
    )


def test_several_at_once() -> None:
    band = "band:50N/m,anchor=0/-1.3/0,length=0.7"
    expected = (*parse_resistances("4kg"), *parse_resistances(band))
    assert parse_resistances(f"4kg+{band}") == expected
    assert parse_resistances(f"{band} + 4kg") == expected[::-1]
    assert parse_all(["4kg", band]) == expected


def test_plus_signs_inside_a_place_do_not_split() -> None:
    (cable,) = parse_resistances("cable:20kg,pulley=+0.6/-0.9/+0")
    assert isinstance(cable, Cable)
    assert cable.pulley_m == (0.6, -0.9, 0.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("8", "kg"),
        ("heavy", "number with kg"),
        ("dumbbell", "no size"),
        ("dumbel:8kg", "dumbbell"),
        ("dumbbell:8N", "kg"),
        ("cable:20kg", "pulley"),
        ("cable:20kg,pulley=1/2", "out/up/forward"),
        ("cable:20kg,pulley=1/2/3,pully=1/2/3", "pulley"),
        ("cable:20kg,pulley=1/2/3,pulley=1/2/3", "twice"),
        ("cable:20kg,ratio", "key=value"),
        ("cable:20kg,pulley=0/-1/0,ratio=40", "between 0.25 and 8"),
        ("cable:-3kg,pulley=0/-1/0", "between 0 and 500"),
        ("cable:20kg,pulley=0/-100/0", "three distances"),
        ("band:90N/m", "unstretched"),
        ("machine:30kg", "N or Nm"),
        ("dumbbell:1e9kg", "between 0 and 200"),
        ("nothing.toml", "cannot be read"),
    ],
)
def test_faults_say_what_was_expected(text: str, said: str) -> None:
    with pytest.raises(ArmarcError) as caught:
        parse_resistances(text)
    assert said in str(caught.value)


def test_file(tmp_path: Path) -> None:
    file = tmp_path / "both.toml"
    file.write_text(
        '[main]\nkind = "machine"\nmoment_by_angle = [[0, 20], [90, 40]]\n'
        '[extra]\nkind = "band"\nanchor_m = [0, -1.3, 0]\nforce_by_length = [[0.8, 0], [1.2, 40]]\n',
        encoding="utf-8",
    )
    machine, band = parse_resistances(str(file))
    assert isinstance(machine, Machine)
    assert machine.moment_table == ((0.0, 20.0), (math.pi / 2, 40.0))
    assert isinstance(band, ElasticBand)
    assert band.table == ((0.8, 0.0), (1.2, 40.0))
    single = tmp_path / "one.toml"
    single.write_text('kind = "dumbbell"\nmass_kg = 7\n', encoding="utf-8")
    assert parse_resistances(f"{single}") == (Dumbbell(mass_kg=7),)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "holds no resistance"),
        ("kind = 3\n", "dumbbell"),
        ('kind = "band"\n', "anchor_m"),
        ('kind = "dumbbell"\nmass_kg = "8"\n', "number"),
        ('kind = "dumbbell"\nmas_kg = 8\n', "mass_kg"),
        ('kind = "band"\nanchor_m = [0, 1]\n', "three distances"),
        ('kind = "machine"\n', "moment or a force"),
        ('kind = "machine"\nmoment_by_angle = [[90, 1], [0, 2]]\n', "rising"),
        ("[a]\nmass_kg = 3\n", "no kind"),
        ("mass_kg = 3\n", "outside a resistance"),
        ("kind = \n", "not valid TOML"),
    ],
)
def test_bad_files_name_the_place(tmp_path: Path, content: str, said: str) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(content, encoding="utf-8")
    with pytest.raises(FormatError) as caught:
        parse_resistances(str(file))
    assert said in str(caught.value)
    assert "bad.toml" in str(caught.value)


def test_lifter_goes_to_disk_and_comes_back(tmp_path: Path) -> None:
    own = Lifter(body_mass_kg=61.5, stature_m=1.68, sex="female", upper_arm_m=0.29)
    others = [
        Lifter(name='Zoë "Z" O\'Neil \\', body_mass_kg=90.0),
        Lifter(name="b", segment_table="winter"),
    ]
    lifters = Lifters(own=own)
    for one in others:
        lifters = lifters.with_(one)
    folder = tmp_path / "new folder"
    path = save_lifters(lifters, folder)
    assert load_lifters(folder) == lifters
    assert list(load_lifters(folder)) == [own, *others]
    path.write_text("body_mass_kg = 900\n", encoding="utf-8")
    with pytest.raises(FormatError, match="from 20 to 350 kg"):
        load_lifters(folder)
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError):
        save_lifters(lifters, tmp_path / "file")


def test_a_file_without_names_is_still_read_and_names_nobody(tmp_path: Path) -> None:
    (tmp_path / "lifter.toml").write_text("body_mass_kg = 82\nstature_m = 1.81\n", encoding="utf-8")
    lifters = load_lifters(tmp_path)
    assert lifters.find(None) == lifters.find("me") == Lifter(body_mass_kg=82.0, stature_m=1.81)


def test_nobody_gets_the_body_of_somebody_else(tmp_path: Path) -> None:
    (tmp_path / "lifter.toml").write_text(
        "body_mass_kg = 100\n[lifter.Anna]\nbody_mass_kg = 58\n", encoding="utf-8"
    )
    lifters = load_lifters(tmp_path)
    assert lifters.find("  Anna ") == Lifter(name="Anna", body_mass_kg=58.0)
    assert lifters.find("anna") == lifters.find("Anna")
    assert lifters.find("Me") == lifters.find(None)
    assert lifters.find("Bob") == Lifter(name="Bob")
    assert lifters.find("Bob").given == ()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("[lifter.Anna]\nbody_mass_kg = 5\n", "lifter.Anna.body_mass_kg"),
        ("[lifter.Anna]\nmass = 50\n", "unknown key"),
        ("lifter = 5\n", "tables with a name"),
        ('[lifter."  "]\n', "no name"),
        ("[lifter.me]\nbody_mass_kg = 50\n", "without a name"),
    ],
)
def test_faults_among_the_lifters_are_named(tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / "lifter.toml").write_text(content, encoding="utf-8")
    with pytest.raises(FormatError) as caught:
        load_lifters(tmp_path)
    assert said in str(caught.value)
    assert "lifter.toml" in str(caught.value)


@pytest.mark.parametrize(
    "lifter",
    [
        Lifter(),
        Lifter(name="Anna", body_mass_kg=58.25, sex="female", upper_arm_m=0.29, grip_m=0.08),
        Lifter(stature_m=1.9, segment_table="winter"),
    ],
)
def test_a_body_comes_back_from_its_record(lifter: Lifter) -> None:
    assert Lifter.from_record(json.loads(json.dumps(lifter.record()))) == lifter
    used = lifter.record()
    assert used["body_mass_kg"] == pytest.approx(lifter.completed().body_mass_kg, abs=1e-6)
    assert used["forearm_m"] == pytest.approx(lifter.completed().forearm_m, abs=1e-6)


@pytest.mark.parametrize(
    "record", [{}, {"given": ["soul"]}, {"given": ["sex"], "sex": "x"}, {"given": ["grip_m"], "grip_m": "a"}]
)
def test_what_is_no_body_is_refused(record: dict[str, object]) -> None:
    with pytest.raises(UsageError):
        Lifter.from_record(record)


def test_lengths() -> None:
    assert length_m("1.75") == length_m("175cm") == length_m("1750 mm") == pytest.approx(1.75)
    assert length_m("1,75 m") == pytest.approx(1.75)
    with pytest.raises(UsageError):
        length_m("five foot")
