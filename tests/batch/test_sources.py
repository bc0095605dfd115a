"""Which files a batch takes up, and which profile goes with which."""

import os

import pytest

from spinlab.batch.profiles import Profiles
from spinlab.batch.sources import Folder, Listed, open_source
from spinlab.errors import InputError, InvalidMachine
from spinlab.machine import load_machine, profile_text


@pytest.fixture
def profiles(tmp_path):
    return Profiles("belt-brushed-1400", copies=tmp_path / "out" / "profiles")


@pytest.fixture
def found(uploads, profiles, tmp_path):
    """Names that a folder gives, each with its profile."""

    def look():
        folder = Folder(uploads, never=tmp_path / "out", profiles=profiles)
        return {file.name: file.profile and file.profile.use for file in folder.found()}

    return look


def touch(folder, *names):
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")


def test_files_are_taken_whatever_their_names_unless_plainly_something_else(uploads, found):
    taken = ["AUDIO-001", "a.wav", "deep/er/b.M4A", "strange.xyz", "log.csv", "notes.txt"]
    touch(uploads, *taken)
    touch(uploads, "photo.JPG", "truth.json", "unit.toml", "c.wav.part", ".hidden.wav")
    touch(uploads, ".git/x.wav", "d.mp4.crdownload", "~$e.wav")
    assert sorted(found()) == sorted(taken)


def test_the_order_is_always_the_same(uploads, found):
    touch(uploads, "b.wav", "a.wav", "z/a.wav", "c.wav")
    assert list(found()) == ["a.wav", "b.wav", "c.wav", "z/a.wav"]


def test_results_inside_the_folder_are_no_recordings(uploads, profiles):
    touch(uploads, "a.wav", "out/results/b.wav")
    folder = Folder(uploads, never=uploads / "out", profiles=profiles)
    assert [file.name for file in folder.found()] == ["a.wav"]


def test_a_pipe_or_a_dead_link_holds_nothing_up(uploads, found):
    touch(uploads, "a.wav")
    os.mkfifo(uploads / "pipe.wav")
    (uploads / "dead.wav").symlink_to(uploads / "nowhere.wav")
    (uploads / "circle").symlink_to(uploads)
    assert list(found()) == ["a.wav"]


def test_a_name_that_is_no_text_is_taken_all_the_same(uploads, found):
    with open(os.path.join(os.fsencode(uploads), b"\xff\xfe.wav"), "wb") as file:
        file.write(b"x")
    assert [os.fsencode(name) for name in found()] == [b"\xff\xfe.wav"]


def test_a_table_in_the_folder_chooses_profiles_by_path_folder_and_pattern(uploads, found):
    touch(uploads, "one.wav", "shop/a.wav", "shop/deep/b.wav", "c-1600.wav", "other.wav")
    touch(uploads, "[1].wav")
    (uploads / "mine.toml").write_text(profile_text("direct-drive-1200"))
    (uploads / "profiles.csv").write_text(
        "recording,machine\none.wav,belt-brushed-1000\nshop/,direct-drive-1400\n"
        "*-1600.wav,belt-brushed-1600\n[1].wav,mine.toml\n"
    )
    seen = found()
    own = seen.pop("[1].wav")
    assert load_machine(own) == load_machine("direct-drive-1200")
    assert seen == {
        "one.wav": "belt-brushed-1000",
        "shop/a.wav": "direct-drive-1400",
        "shop/deep/b.wav": "direct-drive-1400",
        "c-1600.wav": "belt-brushed-1600",
        "other.wav": "belt-brushed-1400",
    }


def test_a_profile_is_copied_so_that_a_later_change_cannot_blur_what_was_used(
    uploads, profiles, tmp_path
):
    path = tmp_path / "mine.toml"
    path.write_text(profile_text("direct-drive-1200"))
    first = profiles.named(str(path), beside=tmp_path / "x")
    path.write_text(profile_text("direct-drive-1600"))
    second = profiles.named(str(path), beside=tmp_path / "x")
    assert first.digest != second.digest
    assert load_machine(first.use) == load_machine("direct-drive-1200")
    assert load_machine(second.use) == load_machine("direct-drive-1600")


def test_a_table_that_names_no_profile_is_refused(uploads, found):
    touch(uploads, "a.wav")
    (uploads / "profiles.csv").write_text("recording,machine\na.wav,belt-brushed-14000\n")
    with pytest.raises(InvalidMachine, match="belt-brushed-14000"):
        found()


def test_a_table_without_its_columns_is_refused(uploads, found):
    (uploads / "profiles.csv").write_text("a.wav,belt-brushed-1400\n")
    with pytest.raises(InputError, match="columns recording and machine"):
        found()


def listed(file, profiles, tmp_path):
    source = open_source(file, out=tmp_path / "out", profiles=profiles)
    assert isinstance(source, Listed)
    return [(item.name, item.stamp is not None, item.profile.use) for item in source.found()]


def test_a_list_names_one_path_a_line(uploads, profiles, tmp_path):
    touch(uploads, "a.wav", "b, with comma.wav")
    file = uploads / "list.txt"
    file.write_text("# morning\na.wav\n\nb, with comma.wav\na.wav\ngone.wav\n")
    assert listed(file, profiles, tmp_path) == [
        ("a.wav", True, "belt-brushed-1400"),
        ("b, with comma.wav", True, "belt-brushed-1400"),
        ("gone.wav", False, "belt-brushed-1400"),
    ]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_a_list_may_be_a_table_with_a_profile_for_each(mark, uploads, profiles, tmp_path):
    touch(uploads, "a.wav", "b.wav")
    file = uploads / "list.csv"
    rows = [("Machine", "File"), ("direct-drive-1400", "a.wav"), ("", "b.wav")]
    file.write_text("\ufeff" + "\n".join(mark.join(row) for row in rows), "utf-8")
    assert listed(file, profiles, tmp_path) == [
        ("a.wav", True, "direct-drive-1400"),
        ("b.wav", True, "belt-brushed-1400"),
    ]


def test_a_recording_given_as_a_list_is_pointed_to_check(uploads, profiles, tmp_path):
    (uploads / "a.wav").write_bytes(b"RIFF\0\0\0\0WAVE")
    with pytest.raises(InputError, match="for a single recording use `spinlab check`"):
        listed(uploads / "a.wav", profiles, tmp_path)


def test_results_do_not_go_among_the_recordings(uploads, profiles):
    with pytest.raises(InputError, match="name another --out folder"):
        open_source(uploads, out=uploads, profiles=profiles)


def test_a_source_that_is_not_there_is_said_so(tmp_path, profiles):
    with pytest.raises(InputError, match="no folder or list"):
        open_source(tmp_path / "nowhere", out=tmp_path / "out", profiles=profiles)


def test_a_file_of_a_list_that_is_missing_is_told_and_the_others_are_checked(
    put, uploads, batch, table
):
    put("a.wav")
    (uploads / "list.txt").write_text("gone.wav\na.wav\n")
    tally = batch(uploads / "list.txt")
    assert tally.exit_code == 20
    assert [(row["recording"], row["outcome"]) for row in table()] == [
        ("gone.wav", "unusable"),
        ("a.wav", "clear"),
    ]
    assert table()[0]["sentence"] == "It cannot be opened: No such file or directory."


def test_a_list_that_names_a_pipe_or_a_folder_waits_for_neither(put, uploads, batch, table):
    put("deep/a.wav")
    os.mkfifo(uploads / "pipe.wav")
    (uploads / "list.txt").write_text("pipe.wav\ndeep\ndeep/a.wav\n")
    batch(uploads / "list.txt")
    sentences = {row["recording"]: row["sentence"] for row in table()}
    assert sentences["pipe.wav"] == sentences["deep"] == "It is no ordinary file: name a recording."
    assert sentences["deep/a.wav"] == "An invented verdict: clear."


def test_profiles_reach_the_work_and_the_table(put, uploads, batch, table):
    put("a.wav")
    put("shop/b.wav")
    (uploads / "profiles.csv").write_text("recording,machine\nshop,direct-drive-1400\n")
    batch()
    assert {row["recording"]: row["machine"] for row in table()} == {
        "a.wav": "",
        "shop/b.wav": "direct-drive-1400",
    }
