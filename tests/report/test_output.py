"""Results are written whole or not at all, and never over what was handed in."""

import os
import stat
from pathlib import Path

import pytest

from spinlab.errors import OutputError
from spinlab.report.output import check_writable, write_whole


def test_a_written_file_has_its_content_and_leaves_no_other_file(tmp_path):
    write_whole(tmp_path / "a.json", b"{}")
    assert (tmp_path / "a.json").read_bytes() == b"{}"
    assert os.listdir(tmp_path) == ["a.json"]


def test_a_failure_while_writing_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    target = tmp_path / "a.json"
    target.write_bytes(b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OutputError, match=r"a\.json cannot be written: No space left"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.json"]


def test_stopping_from_the_keyboard_while_writing_leaves_nothing_half_done(tmp_path, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a.json", b"new")
    assert os.listdir(tmp_path) == []


def test_a_new_file_gets_ordinary_permissions(tmp_path):
    write_whole(tmp_path / "a.json", b"{}")
    (tmp_path / "b.json").write_bytes(b"{}")
    modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("a.json", "b.json")}
    assert len(modes) == 1


def test_a_link_keeps_pointing_at_the_file_that_is_replaced(tmp_path):
    (tmp_path / "real.json").write_bytes(b"old")
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    write_whole(tmp_path / "link.json", b"new")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"


def test_a_device_is_written_to_and_not_replaced():
    check_writable([Path("/dev/null")])
    write_whole(Path("/dev/null"), b"{}")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_a_missing_folder_is_told_before_any_work(tmp_path):
    with pytest.raises(OutputError, match="there is no folder"):
        check_writable([tmp_path / "nowhere" / "a.json"])


def test_a_folder_is_no_file_to_write_to(tmp_path):
    with pytest.raises(OutputError, match="it is a folder; name a file"):
        check_writable([tmp_path])


def test_the_recording_is_never_written_over_by_any_name(tmp_path):
    recording = tmp_path / "spin.wav"
    recording.write_bytes(b"RIFF")
    (tmp_path / "alias.json").symlink_to(recording)
    for name in ("spin.wav", "alias.json", "../" + tmp_path.name + "/spin.wav"):
        with pytest.raises(OutputError, match="never written over"):
            check_writable([tmp_path / name], never=[recording])


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_protected_folder_is_told_before_any_work(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="Permission denied"):
            check_writable([tmp_path / "a.json"])
    finally:
        tmp_path.chmod(0o700)


def test_checking_leaves_nothing_behind(tmp_path):
    check_writable([tmp_path / "a.json", tmp_path / "b.html"])
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("name", ["x" * 300, "a\0b"])
def test_a_name_that_no_disk_takes_is_one_sentence(tmp_path, name):
    with pytest.raises(OutputError, match="cannot be written"):
        check_writable([tmp_path / name])
