"""A recording and its proof say nothing that is nobody else's business."""

import json
import platform
import socket
import zlib
from contextlib import suppress
from pathlib import Path

import pytest

from tests.recording.invented import JOB, UTC_S, check_items, fold
from warmwatch.commands.main import run
from warmwatch.core.watch import Watch
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.privacy import shared_address
from warmwatch.recording.writer import create

SECRETS = (
    "mechanic-home", "Customer Miller", "192.168.178.20", "fe80::1", "workshop.local", "47110",
    "A50285BI", "secret-folder", "aa:bb:cc:dd:ee:ff", "hunter2",
)  # fmt: skip
ADDRESSES = (
    "csv:/home/mechanic-home/Customer Miller/drive.csv?unit=F&fluid_c=Oil",
    r"csv:C:\Users\mechanic-home\Customer Miller\drive.csv",
    "csv:../Customer Miller/drive.csv",
    "log:~mechanic-home/secret-folder/drive.asc.gz?signals=/home/mechanic-home/my.toml",
    "serial:/dev/ttyUSB0?baud=38400&usb=A50285BI&signals=secret-folder/my.toml",
    "serial:/dev/serial/by-id/usb-Invented_Adapter_A50285BI-if00-port0",
    "serial:/dev/cu.usbserial-A50285BI",
    "serial:socket://192.168.178.20:47110",
    "serial:socket://workshop.local:47110?password=hunter2",
    "serial:aa:bb:cc:dd:ee:ff",
    "lines:socket://[fe80::1]:47110",
    "can:can0?interface=socketcan&bitrate=500000&signals=/home/mechanic-home/my.toml",
    "can:192.168.178.20:47110?interface=invented&host=192.168.178.20",
    "broadcast:can1?database=/home/mechanic-home/secret-folder/invented.dbc&fluid_c=M.S",
    "doip:192.168.178.20?target=7",
    "doip:fe80::1",
    "doip:workshop.local",
    "csv:/home/mechanic-home/a?b/Customer Miller/drive.csv",
)
NEEDED = (
    "drive.csv", "unit=F", "fluid_c=Oil", "drive.asc.gz", "my.toml", "ttyUSB0", "baud=38400",
    "can0", "bitrate=500000", "invented.dbc", "fluid_c=M.S", "target=7",
)  # fmt: skip


def test_an_address_is_kept_without_what_is_private() -> None:
    """No secret is left, and what is needed is there."""
    kept = "\n".join(shared_address(address) for address in ADDRESSES)
    assert [secret for secret in SECRETS if secret in kept] == []
    assert [needed for needed in NEEDED if needed not in kept] == []
    assert [line.partition(":")[0] for line in kept.split("\n")] == [
        address.partition(":")[0] for address in ADDRESSES
    ]


def test_kept_addresses_stay_as_they_are() -> None:
    """Once shortened there is nothing more to leave out."""
    for address in ADDRESSES:
        assert shared_address(shared_address(address)) == shared_address(address)


@pytest.mark.parametrize("address", ADDRESSES)
def test_no_sidecar_holds_a_secret(address: str, tmp_path: Path) -> None:
    """Whatever a link says about itself."""
    about = {
        "address": address,
        "usb": {"serial": "A50285BI"},
        "signals": [{"name": "fluid_c", "source": "/home/mechanic-home/secret-folder/x.dbc: M.S"}],
    }
    recorder = create(tmp_path, JOB, address, about, UTC_S)
    recorder.close(0.0, None)
    text = sidecar_path(recorder.path).read_text(encoding="utf-8")
    assert [secret for secret in SECRETS if secret in text] == []
    link = json.loads(text)["warmwatch:link"]
    assert link["signals"] == [{"name": "fluid_c", "source": "x.dbc: M.S"}]


def unpacked(data: bytes) -> bytes:
    """Return a PDF with all its streams unpacked behind it."""
    parts = [data]
    for piece in data.split(b"stream")[1:]:
        with suppress(zlib.error):
            parts.append(zlib.decompressobj().decompress(piece.lstrip(b"\r\n")))
    return b"\n".join(parts)


NODE = "laptop-of-the-shop"
"""The computer's name: a real one may be so short that random bytes hold it."""


@pytest.mark.slow
def test_nothing_of_a_proof_or_a_replay_holds_a_secret(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A recording replayed from a customer's folder in somebody's home: sidecar, rows, proof."""
    monkeypatch.setenv("HOME", str(tmp_path / "mechanic-home"))
    for module, name in ((platform, "node"), (socket, "gethostname")):
        monkeypatch.setattr(module, name, lambda: NODE)
    folder = tmp_path / "mechanic-home" / "Customer Miller"
    recorder, watch = create(folder, JOB, "lines:-", {}, UTC_S), Watch(JOB)
    for item in check_items():
        fold(recorder, watch, item)
    recorder.close(60.0, UTC_S + 60)
    again, proof = tmp_path / "again", tmp_path / "p.pdf"
    assert run(["watch", str(recorder.path), "--record", str(again), "--json", "--quiet"]) == 0
    (recording,) = again.glob("*.csv")
    assert run(["proof", str(recording), "-o", str(proof)]) == 0
    private = [*SECRETS, str(tmp_path), NODE]
    given_away = recording.read_bytes() + sidecar_path(recording).read_bytes()
    given_away += unpacked(proof.read_bytes())
    assert b"invented vehicle" in given_away
    assert [secret for secret in private if secret.encode() in given_away] == []
