"""`warmwatch signals`, run as a user runs it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from warmwatch.commands.main import cli, run
from warmwatch.signals import load_signal_file


def test_the_list_names_every_value_and_what_is_missing() -> None:
    """Each standard quantity has a row, J1939 has its own, and the fluid's absence is said."""
    result = CliRunner().invoke(cli, ["signals"])
    assert result.exit_code == 0
    lines = result.output.splitlines()
    (coolant,) = [line for line in lines if "coolant_c" in line and "01 05" in line]
    assert " ".join(coolant.split()) == "coolant_c 01 05 byte 0 * 1 -40 degC -39 to 150 degC"
    assert any("fluid_c" in line and "group 65272, SPN 177" in line for line in lines)
    assert "No standard request gives transmission fluid temperature" in result.output


def test_json_carries_the_source_of_each_row() -> None:
    """--json prints one object, with the source at each row."""
    content = json.loads(CliRunner().invoke(cli, ["signals", "--json"]).output)
    assert len(content["signals"]) == 10
    assert len(content["j1939"]) == 10
    assert all(row["source"] for row in content["signals"] + content["j1939"])


def test_the_example_is_a_valid_signal_file(tmp_path: Path) -> None:
    """What --example prints is accepted, listed, and says that it is invented."""
    path = tmp_path / "example.toml"
    path.write_text(CliRunner().invoke(cli, ["signals", "--example"]).output, encoding="utf-8")
    assert "invented" in path.read_text(encoding="utf-8")
    assert load_signal_file(path).named("fluid_c") is not None
    listed = CliRunner().invoke(cli, ["signals", str(path)])
    assert "bytes 0-1 signed * 0.1 degC" in listed.output


def test_a_wrong_file_ends_with_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sentence on stderr names file, line and key; nothing goes to stdout."""
    path = tmp_path / "wrong.toml"
    path.write_text(
        '[[signal]]\nname = "fluid_c"\nservice = 0x2E\nunit = "C"\nidentifier = 1\n'
        "scale = 1\noffset = 0\n",
        encoding="utf-8",
    )
    assert run(["signals", str(path)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert (
        f"{path}, line 3: 'service' must be 0x01, 0x21 or 0x22: warmwatch only reads" in printed.err
    )


def test_nothing_heavy_is_imported() -> None:
    """Listing must be instant: no CAN, serial, numeric or plotting library is loaded."""
    code = (
        "import sys; from warmwatch.commands.main import run; run(['signals']);"
        "heavy = {'can', 'serial', 'isotp', 'numpy', 'pandas', 'cantools'} & set(sys.modules);"
        "print(sorted(heavy), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
