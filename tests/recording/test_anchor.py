"""Time stamps by RFC 3161, with an authority of openssl's own on this machine."""

import http.server
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.recording.invented import check_items, record
from warmwatch.commands.main import run
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.reading import verify_file, verify_pdf
from warmwatch.outputs.proof.visit import gather
from warmwatch.recording.seal.anchor import anchor_path, check, pending_path
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording

CONFIG = """
[tsa]
default_tsa = here
[here]
serial = {0}/serial
signer_cert = {0}/tsa.pem
signer_key = {0}/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[stamps]
basicConstraints = critical,CA:FALSE
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
"""


@dataclass(frozen=True)
class Authority:
    """A running authority: its address, and the certificate of who vouches for it."""

    url: str
    root: bytes


def openssl(folder: Path, *arguments: str) -> bytes:
    done = subprocess.run(["openssl", *arguments], cwd=folder, capture_output=True)
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def make_authority(folder: Path) -> None:
    """Make an invented authority: its own root, and a certificate for time stamps alone."""
    folder.mkdir(parents=True)
    (folder / "ts.cnf").write_text(CONFIG.format(folder), encoding="ascii")
    (folder / "serial").write_text("01\n", encoding="ascii")
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")
    root = ("-x509", "-days", "30", "-subj", "/CN=Invented root")
    openssl(folder, "req", *curve, *root, "-keyout", "ca.key", "-out", "ca.pem")
    openssl(folder, "req", *curve, "-subj", "/CN=Invented authority", "-keyout", "tsa.key",
            "-out", "tsa.csr")  # fmt: skip
    openssl(folder, "x509", "-req", "-in", "tsa.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
            "-CAcreateserial", "-days", "30", "-extfile", "ts.cnf", "-extensions", "stamps",
            "-out", "tsa.pem")  # fmt: skip


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Authority]:
    """An authority that answers on loopback."""
    folder = tmp_path_factory.mktemp("authority") / "here"
    make_authority(folder)

    class Answer(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            (folder / "asked").write_bytes(self.rfile.read(int(self.headers["Content-Length"])))
            answer = openssl(folder, "ts", "-reply", "-config", "ts.cnf", "-queryfile", "asked",
                             "-out", "/dev/stdout")  # fmt: skip
            self.send_response(200)
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield Authority(f"http://127.0.0.1:{server.server_port}/", (folder / "ca.pem").read_bytes())
    server.shutdown()
    server.server_close()


@pytest.mark.slow
def test_a_time_stamp_is_fetched_and_checked_offline(tmp_path: Path, authority: Authority) -> None:
    """It holds for this recording by this authority, and is carried by the proof, too."""
    path = record(tmp_path, check_items())
    assert run(["anchor", str(path), "--url", authority.url]) == 0
    assert anchor_path(path).exists()
    assert not pending_path(path).exists()
    report = verify_file(path, authority=authority.root)
    assert report.state is SealState.INTACT
    assert any("time stamp" in text and text.endswith("it holds") for text in report.remarks)
    assert any("was not checked" in text for text in verify_file(path).remarks)
    data = make_proof(gather(path), paper="a4", key=None, time="2026-06-02T03:04:05Z")
    assert verify_pdf(data, authority=authority.root).state is SealState.INTACT


@pytest.mark.slow
def test_without_a_network_it_stays_wanted_and_is_fetched_later(
    tmp_path: Path, authority: Authority, capsys: pytest.CaptureFixture[str]
) -> None:
    """The proof is made without it; `anchor` fetches what waits in a folder."""
    path = record(tmp_path / "warmwatch-recordings", check_items())
    nobody = "http://127.0.0.1:9/"
    made = str(tmp_path / "p.pdf")
    assert run(["proof", str(path), "--anchor", nobody, "-o", made]) == 0
    assert "cannot be reached" in capsys.readouterr().err
    assert pending_path(path).read_text(encoding="utf-8").strip() == nobody
    assert run(["anchor", str(path)]) == 1
    pending_path(path).write_text(authority.url, encoding="utf-8")
    assert run(["anchor", str(path)]) == 0
    assert anchor_path(path).exists()


def test_a_stamp_of_another_recording_or_authority_does_not_hold(
    tmp_path: Path, authority: Authority
) -> None:
    """Nor does one of which a bit was turned, nor none at all where one is asked for."""
    path = record(tmp_path, check_items())
    bare = verify_file(path, authority=authority.root)
    assert (bare.state, bare.exit_code) == (SealState.NO_TIME_STAMP, 1)
    assert run(["anchor", str(path), "--url", authority.url]) == 0
    answer, digest = anchor_path(path).read_bytes(), verify_recording(path).digest
    assert check(answer, digest, authority.root).checked
    assert not check(answer, digest).checked
    assert "another recording" in check(answer, "0" * 64, authority.root).trouble
    # RFC 3161, 2.4.2: status 1 is granted, too ("with modifications"); it stands at the begin.
    assert answer[4:9] == bytes([0x30, 3, 0x02, 1, 0])
    assert check(answer[:8] + b"\1" + answer[9:], digest) == check(answer, digest)
    assert "refused, status 2" in check(answer[:8] + b"\2" + answer[9:], digest).trouble
    make_authority(tmp_path / "other")
    other = (tmp_path / "other" / "ca.pem").read_bytes()
    assert "not by that authority" in check(answer, digest, other).trouble
    for at in range(0, len(answer), 29):
        turned = answer[:at] + bytes([answer[at] ^ 1]) + answer[at + 1 :]
        stamp = check(turned, digest, authority.root)
        assert not stamp.checked or stamp == check(answer, digest, authority.root)
    anchor_path(path).write_bytes(b"no stamp")
    assert verify_file(path, authority=authority.root).state is SealState.NO_TIME_STAMP


def test_only_an_address_of_the_web_is_asked(tmp_path: Path) -> None:
    """A file's address would hand out that file."""
    path = record(tmp_path, check_items())
    assert run(["anchor", str(path), "--url", "file:///etc/hostname"]) == 2
    assert not pending_path(path).exists()
