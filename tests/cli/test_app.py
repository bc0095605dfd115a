"""The root of the command line: help, suggestions, exit codes."""

import importlib
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from spinlab_cli.commands import COMMANDS
from spinlab_cli.exits import EXIT_CODES

README = Path(__file__).parents[2] / "README.md"


def test_help_lists_every_command_and_every_exit_code(spinlab):
    code, out, _ = spinlab("--help")
    assert code == 0
    for name, command in COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(command.help[:30])}", out, re.M), name
    for number, meaning in EXIT_CODES.items():
        assert re.search(rf"^  {number} +{re.escape(meaning[:20])}", out, re.M), number


def test_the_exit_codes_are_the_published_ones():
    assert sorted(EXIT_CODES) == [0, 2, 10, 11, 12, 20, 21, 70, 130]


def test_the_readme_tells_the_same_exit_codes():
    text = README.read_text("utf-8")
    for number in EXIT_CODES:
        assert re.search(rf"^\| {number} \|", text, re.M), number


def test_help_pays_for_no_heavy_library():
    heavy = ("numpy", "scipy", "matplotlib", "av", "soundfile", "pydantic", "jinja2", "librosa")
    script = (
        "import sys; from spinlab_cli import main; main(['--help']); "
        f"print([name for name in {heavy!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_listed_command_exists_and_explains_itself(name, spinlab):
    entry = COMMANDS[name]
    command = getattr(importlib.import_module(entry.module), entry.attribute)
    assert isinstance(command, click.Command)
    code, out, _ = spinlab(name, "--help")
    assert code == 0
    assert out.startswith(f"Usage: spinlab {name} ")


@pytest.mark.parametrize(
    ("slip", "meant"), [("chek", "check"), ("machine", "machines"), ("simulation", "simulate")]
)
def test_a_misspelt_command_gets_the_nearest_one_suggested(slip, meant, spinlab):
    code, _, err = spinlab(slip)
    assert code == 2
    assert f"did you mean {meant}?" in err


def test_a_command_like_no_other_points_at_the_help(spinlab):
    code, _, err = spinlab("qwxyz")
    assert code == 2
    assert "see spinlab --help" in err


def test_a_misspelt_option_gets_the_nearest_one_suggested(spinlab):
    code, _, err = spinlab("check", "x.wav", "--machin", "belt-brushed-1400")
    assert code == 2
    assert "--machine" in err


def test_without_a_command_the_help_is_shown(spinlab):
    _, out, err = spinlab()
    assert "Usage: spinlab" in out + err


def test_the_version_is_the_packages_own(spinlab):
    import spinlab as package

    assert spinlab("--version") == (0, f"spinlab {package.__version__}\n", "")


def test_the_module_runs_as_the_command_does(process):
    done = process("machines")
    assert done.returncode == 0
    assert done.stdout.startswith("belt-brushed-1000")


def test_a_reader_that_hangs_up_causes_no_trace(tmp_path):
    command = f"{sys.executable} -m spinlab_cli machines belt-brushed-1400 | head -n 1"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
    assert done.stdout.startswith("# A machine profile")
    assert done.stderr == ""


def test_a_terminal_without_the_plus_minus_sign_is_no_obstacle(process):
    done = process("--help", env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0


def test_the_shell_is_offered_commands_and_profiles(process):
    def offered(words, index):
        variables = {"_SPINLAB_COMPLETE": "bash_complete", "COMP_WORDS": words}
        return process(env={**variables, "COMP_CWORD": str(index)}).stdout.split()

    assert offered("spinlab mach", 1) == ["plain,machines"]
    assert offered("spinlab check x.wav --machine direct-drive-14", 4) == [
        "plain,direct-drive-1400"
    ]
