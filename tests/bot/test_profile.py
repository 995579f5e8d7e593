"""The programme's local settings file."""

from datetime import time
from pathlib import Path

import pytest

from bot.profile import Profile, read_profile
from shared.errors import BadInput

HERE = Path(__file__).parent
LARKMOOR = HERE.parents[1] / "deploy" / "larkmoor.toml"


def write(folder: Path, text: str) -> Path:
    path = folder / "profile.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_states_every_entry_there_is():
    """The shipped example sets each field of a profile, so that it can serve as the reference."""
    example = read_profile(LARKMOOR)

    assert example.model_fields_set == set(Profile.model_fields)
    assert example.watering.model_fields_set == set(type(example.watering).model_fields)


def test_the_example_states_the_defaults_truly():
    """Where the example's comment names a default in brackets, that is the default."""
    lines = LARKMOOR.read_text(encoding="utf-8").splitlines()
    entries = [line for line in lines if " =" in line]
    stated = {line.split(" =")[0]: line.rpartition("(")[2].strip(')"') for line in entries}

    default = Profile()
    for entry in ("programme", "zone", "emergency_number", "crisis_line", "units", "latitude"):
        assert stated[entry] == str(getattr(default, entry)), entry
    assert stated["quiet_from"] == default.quiet_from.isoformat("minutes")
    assert stated["quiet_to"] == default.quiet_to.isoformat("minutes")


def test_no_file_means_the_stated_defaults():
    """Without a profile file the defaults hold, and the climate is left to the core's own assumption."""
    profile = read_profile(None)

    assert profile == Profile()
    assert profile.climate is None
    assert (profile.quiet_from, profile.quiet_to) == (time(20), time(9))


def test_another_programme_reads_as_written():
    """A metric programme of another climate comes out with its own units, language, number and normals."""
    coastal = read_profile(HERE / "coastal.toml")

    assert (coastal.units, coastal.languages[0], coastal.emergency_number) == ("c", "es", "112")
    assert coastal.climate is not None
    assert sum(coastal.climate.rain_mm) == 1840


@pytest.mark.parametrize(
    ("text", "place", "mend"),
    [
        ("units = 'k'", "units", "'f' or 'c'"),
        ("zone = 'Mars/Base'", "zone", "IANA"),
        ("latitude = 91", "latitude", "less than or equal to 66"),
        ("langauges = ['en']", "langauges", "spelling"),
        ("languages = []", "languages", "at least 1"),
        ("[normals]\nmin_c=[1]\nmax_c=[1]\nrain_mm=[1]", "normals.min_c", "at least 12"),
        ("[[bins]]\nname={en='x'}\nlength_m=0\nwidth_m=1\nheight_m=1", "bins.0.length_m", "greater than 0"),
        ("quiet_from = 'late'", "quiet_from", "time"),
        ("units = \nzone = ''", "TOML", "line 1"),
    ],
)
def test_a_fault_names_the_file_the_entry_and_the_mend(tmp_path, text, place, mend):
    """A broken profile is refused in one line that says where and what would be right."""
    path = write(tmp_path, text)

    with pytest.raises(BadInput) as refusal:
        read_profile(path)

    line = str(refusal.value)
    assert str(path) in line
    assert place in line
    assert mend in line
    assert "\n" not in line


def test_a_missing_file_is_named_with_its_setting(tmp_path):
    """A profile that is not there is named, together with the variable that points to it."""
    with pytest.raises(BadInput, match=r"nowhere\.toml: No such file.*WARMHEAP_PROFILE"):
        read_profile(tmp_path / "nowhere.toml")


@pytest.mark.parametrize(
    ("said", "height_m"),
    [
        ("I have a county bin, filled it today", 0.85),
        ("lo armé en el BOTE DE TARIMAS", 1.0),
        ("in a pallet bin", 1.0),
        ("in a bin of my own", None),
    ],
)
def test_a_bin_of_the_programme_is_known_by_name(said, height_m):
    """A message that names one of the programme's bins, in any language, tells its size."""
    named = read_profile(LARKMOOR).bin_in(said)

    assert (named and named.height_m) == height_m
