"""Machine profiles: what ships, what a user writes, and what is turned away."""

import math
import tomllib

import pytest

from spinlab.errors import InvalidMachine
from spinlab.machine import load_machine, profile_text, shipped

BELT = profile_text("belt-brushed-1400")


def write(folder, text, name="unit.toml"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_three_kinds_of_drive_ship_at_four_rated_speeds_each():
    machines = [load_machine(name) for name in shipped()]
    kinds = {(m.drive, m.motor.kind, m.rated_maximum_rpm) for m in machines}
    assert kinds == {
        (drive, motor, rpm)
        for drive, motor in (("belt", "brushed"), ("belt", "three-phase"), ("direct", "direct"))
        for rpm in (1000, 1200, 1400, 1600)
    }


@pytest.mark.parametrize("name", shipped())
def test_a_shipped_profile_saved_to_a_file_loads_back_as_the_same_machine(name, tmp_path):
    assert load_machine(write(tmp_path, profile_text(name))) == load_machine(name)


@pytest.mark.parametrize("name", shipped())
def test_every_key_that_a_shipped_profile_offers_as_a_note_is_a_key_that_loads(name, tmp_path):
    text = "\n".join(
        line[2:] if line.startswith("# ") and ("=" in line or line.startswith("# [")) else line
        for line in profile_text(name).replace("#\n", "\n").splitlines()
    )
    machine = load_machine(write(tmp_path, text))
    assert machine.mains_v == 230
    assert machine.motor.pole_pairs
    assert [bearing.place for bearing in machine.bearings] == ["rear drum", "front drum"]


@pytest.mark.parametrize("name", shipped())
def test_a_shipped_programme_ends_at_the_rated_maximum(name):
    machine = load_machine(name)
    assert machine.programme[-1].rpm == machine.rated_maximum_rpm


def test_the_often_met_stages_ship_as_the_1400_rpm_programme():
    # 400, 800, 1000, 1200, 1400 rpm: common practice, no published source.
    speeds = [plateau.rpm for plateau in load_machine("belt-brushed-1400").programme]
    assert speeds == [400, 800, 1000, 1200, 1400]


def test_a_generic_belt_drive_allows_the_published_range_of_ratios():
    # Motor to drum 8:1 to 13:1: IEEE 6063790.
    low, high = load_machine("belt-three-phase-1200").drum_to_motor_ratio_range
    assert (low, high) == pytest.approx((8.0, 13.0), rel=1e-4)


def test_a_belt_profile_without_a_ratio_gets_the_generic_range(tmp_path):
    text = "\n".join(line for line in BELT.splitlines() if not line.startswith("drum_to_motor"))
    machine = load_machine(write(tmp_path, text))
    assert machine.drum_to_motor_ratio_range == pytest.approx((8.0, 13.0), rel=1e-4)


def test_a_direct_drive_turns_with_its_motor():
    assert load_machine("direct-drive-1400").drum_to_motor_ratio_range == (1.0, 1.0)


def test_a_tolerance_in_percent_and_one_in_rpm_say_the_same_thing(tmp_path):
    text = BELT.replace("rpm = 400, tolerance_percent = 3", "rpm = 400, tolerance_rpm = 12")
    by_rpm = load_machine(write(tmp_path, text)).programme[0]
    by_percent = load_machine("belt-brushed-1400").programme[0]
    assert math.isclose(by_rpm.allowed_departure_rpm, by_percent.allowed_departure_rpm)


def test_a_bearing_knows_which_shaft_turns_in_it(tmp_path):
    bearings = "".join(
        f'[[bearings]]\nplace = "{place}"\ndesignation = "6306"\n'
        for place in ("front drum", "rear drum", "motor drive end", "motor far end")
    )
    machine = load_machine(write(tmp_path, BELT + bearings))
    assert [b.shaft for b in machine.bearings] == ["drum", "drum", "motor", "motor"]


def test_a_byte_order_mark_before_the_profile_is_no_obstacle(tmp_path):
    assert load_machine(write(tmp_path, "\ufeff" + BELT)).drive == "belt"


FAULTS = {
    "a misspelt key": (
        BELT.replace("rated_maximum_rpm =", "rated_maximun_rpm ="),
        r"unit\.toml: key rated_maximun_rpm is not known; did you mean rated_maximum_rpm\?",
    ),
    "a misspelt key inside the programme": (
        BELT.replace("dwell_at_least_s = 5", "dwel_at_least_s = 5", 1),
        r"programme\[1\]\.dwel_at_least_s is not known; did you mean dwell_at_least_s\?",
    ),
    "a word that is not one of the allowed": (
        BELT.replace('kind = "brushed"', 'kind = "brush"'),
        r'motor\.kind is \'brush\', but must be "brushed", "three-phase" or "direct" \(did you',
    ),
    "a ratio of zero": (
        BELT.replace("ratio = 10.5", "ratio = 0"),
        r"drum_to_motor_ratio is 0, but must be at least 1",
    ),
    "a value that is not a number": (
        BELT.replace("ratio = 10.5", "ratio = nan"),
        r"drum_to_motor_ratio is nan, but must be a finite number",
    ),
    "an infinite speed": (
        BELT.replace("rpm = 1400\n", "rpm = inf\n"),
        r"rated_maximum_rpm is inf, but must be a finite number",
    ),
    "a speed of four hundred digits": (
        BELT.replace("rpm = 1400\n", f"rpm = 1{'0' * 400}\n"),
        r"rated_maximum_rpm is 1000.*, but must be a finite number",
    ),
    "a speed of five thousand digits": (
        BELT.replace("rpm = 1400\n", f"rpm = 1{'0' * 5000}\n"),
        r"thousands of digits",
    ),
    "yes instead of a number": (
        BELT.replace("rpm = 1400\n", "rpm = true\n"),
        r"rated_maximum_rpm is True, but must be a number",
    ),
    "a number in quotes": (
        BELT.replace("rpm = 1400\n", 'rpm = "1400"\n'),
        r"rated_maximum_rpm is '1400', but must be a number",
    ),
    "a designation without quotes": (
        BELT + '[[bearings]]\nplace = "rear drum"\ndesignation = 6306\n',
        r"bearings\[1\]\.designation is 6306, but must be text in quotes",
    ),
    "half a bearing": (
        BELT + '[[bearings]]\nplace = "rear drum"\nballs = 9\n',
        r"bearings\[1\]: a bearing needs a designation, or all of balls",
    ),
    "balls wider than their circle": (
        BELT + '[[bearings]]\nplace = "rear drum"\nballs = 9\nball_diameter_mm = 40\n'
        "pitch_diameter_mm = 39\n",
        r"ball_diameter_mm must be smaller than pitch_diameter_mm",
    ),
    "a mains frequency of 55 Hz": (
        BELT.replace("# mains_hz = 50", "mains_hz = 55"),
        r"mains_hz is 55, but must be 50 or 60",
    ),
    "a programme out of order": (
        BELT.replace("rpm = 400", "rpm = 900"),
        r"programme must list its plateaus from the slowest to the fastest",
    ),
    "a programme above the rated speed": (
        BELT.replace("rpm = 1400\n", "rpm = 1200\n"),
        r"programme asks for 1400 rpm, above rated_maximum_rpm 1200",
    ),
    "a direct drive with a brushed motor": (
        BELT.replace('drive = "belt"', 'drive = "direct"'),
        r'drive = "direct" goes with motor kind = "direct"',
    ),
    "commutator bars on a three-phase motor": (
        profile_text("belt-three-phase-1400").replace("# slots", "commutator_bars = 24 # slots"),
        r"motor: commutator_bars belong to a brushed motor only",
    ),
    "no drive at all": (
        'name = "x"\nrated_maximum_rpm = 1400\n[motor]\nkind = "brushed"\n',
        r'key drive is missing; it is one of "belt", "direct"',
    ),
    "no motor": (
        'name = "x"\ndrive = "belt"\nrated_maximum_rpm = 1400\n',
        r"key motor is missing; it is a table with the keys kind, pole_pairs",
    ),
    "a list where a table belongs": (
        'name = "x"\ndrive = "belt"\nrated_maximum_rpm = 1400\nmotor = [1, 2]\n',
        r"motor is a list, but must be a table of keys",
    ),
    "an empty file": ("", r"key name is missing"),
    "prose": ("my old machine", r"not valid TOML"),
    "endless nesting": ("a = " + "[" * 100_000, r"nested too deeply"),
    "deep but closed nesting": (
        "x = " + "[" * 300 + "]" * 300 + "\n" + BELT,
        r"nested too deeply",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_profile_with_a_fault_is_turned_away_in_one_sentence_naming_the_file(fault, tmp_path):
    text, message = FAULTS[fault]
    path = write(tmp_path, text)
    with pytest.raises(InvalidMachine, match=message) as caught:
        load_machine(path)
    assert str(caught.value).startswith("unit.toml: ")
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 20


def test_control_characters_in_a_key_do_not_reach_the_terminal(tmp_path):
    with pytest.raises(InvalidMachine) as caught:
        load_machine(write(tmp_path, '"\\u001b[31mred" = 1\n'))
    assert str(caught.value).isprintable()


def test_a_misspelt_profile_name_gets_the_nearest_one_suggested():
    with pytest.raises(InvalidMachine, match="did you mean belt-brushed-1400"):
        load_machine("belt-brush-1400")


@pytest.mark.parametrize("name", ["nowhere", "/no/such/place.toml", "a\0b", "x" * 5000, ""])
def test_a_name_that_leads_nowhere_says_how_to_list_the_shipped_ones(name):
    with pytest.raises(InvalidMachine, match=r"spinlab machines|not a file|cannot be read"):
        load_machine(name)


def test_a_folder_is_not_a_profile(tmp_path):
    with pytest.raises(InvalidMachine, match="not a file"):
        load_machine(tmp_path)


def test_a_recording_given_as_a_profile_is_recognised_as_no_text(tmp_path):
    path = tmp_path / "spin.wav"
    path.write_bytes(b"RIFF\xff\xfe\x00\x80WAVE")
    with pytest.raises(InvalidMachine, match="not UTF-8 text"):
        load_machine(path)


def test_a_file_too_large_for_a_profile_is_not_read_whole(tmp_path):
    path = tmp_path / "large.toml"
    path.write_bytes(b"#" * 300_000)
    with pytest.raises(InvalidMachine, match="larger than 256 KiB"):
        load_machine(path)


def test_the_text_of_a_profile_that_does_not_ship_is_refused_with_a_hint():
    with pytest.raises(InvalidMachine, match="did you mean direct-drive-1200"):
        profile_text("direct-drive-1250")


def test_a_shipped_profile_is_toml_for_any_reader():
    assert tomllib.loads(BELT)["drive"] == "belt"
