"""`spinlab machines`: a list, a profile to start from, and a check of one's own."""

from spinlab.machine import load_machine, profile_text, shipped


def test_every_shipped_profile_is_listed_with_what_it_covers(spinlab):
    code, out, _ = spinlab("machines")
    assert code == 0
    assert [line.split()[0] for line in out.splitlines()] == list(shipped())
    assert "generic belt drive, brushed motor, 1400 rpm" in out


def test_a_printed_profile_is_a_profile(spinlab, tmp_path):
    _, out, _ = spinlab("machines", "direct-drive-1200")
    (tmp_path / "mine.toml").write_text(out, "utf-8")
    assert load_machine(tmp_path / "mine.toml") == load_machine("direct-drive-1200")


def test_ones_own_profile_is_checked_and_printed(spinlab, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(profile_text("belt-brushed-1400"), "utf-8")
    assert spinlab("machines", path)[0] == 0
    path.write_text(profile_text("belt-brushed-1400").replace("drive =", "driv ="), "utf-8")
    code, out, err = spinlab("machines", path)
    assert (code, out) == (20, "")
    assert "key driv is not known; did you mean drive?" in err


def test_an_unknown_profile_is_bad_input_with_a_suggestion(spinlab):
    code, _, err = spinlab("machines", "belt-brush-1400")
    assert code == 20
    assert err.count("\n") == 1
    assert "did you mean belt-brushed-1400" in err
