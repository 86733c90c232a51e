"""What is fuzzed: each target takes any bytes and must come back with a report or a refusal."""

import contextlib
import hashlib
from pathlib import Path

from warmwatch.commands.options import JobFile, make_job
from warmwatch.errors import UsageError
from warmwatch.links import parse_address
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.recording.rows import HEADER, Chain
from warmwatch.recording.seal.pdf import PLACEHOLDER, check_pdf, seal_pdf
from warmwatch.recording.seal.report import Report
from warmwatch.recording.seal.verify import verify_bytes

_SEAL_LENGTH = len(PLACEHOLDER)


def recording_bytes(data: bytes, sidecar: bytes) -> Report:
    """Verify a recording as it is, and once more with its chain made anew by a forger."""
    report = verify_bytes("x.csv", data, sidecar, None)
    verify_bytes("x.csv", rechained(data, sidecar), sidecar, None)
    return report


def rechained(data: bytes, sidecar: bytes) -> bytes:
    """Return the rows with digests made anew, so that what is in them is really looked at."""
    chain, lines = Chain(), [HEADER]
    for line in data.decode("utf-8", "replace").split("\r\n")[1:-1]:
        body = line.rpartition(",")[0]
        if ",opened," in body:
            head = body.partition("sidecar=")[0]
            body = f"{head}sidecar={hashlib.sha256(sidecar).hexdigest()},,"
        chain.check(f"{body},")
        lines.append(f"{body},{chain.digest}")
    return "".join(line + "\r\n" for line in lines).encode("utf-8")


def pdf_bytes(data: bytes) -> Report:
    """Verify a PDF as it is, and with a seal made anew, so that it is taken apart."""
    verify_pdf(data)
    return verify_pdf(resealed(data))


def resealed(data: bytes) -> bytes:
    """Return the bytes with a good seal, put in where there is none."""
    place = PLACEHOLDER.encode("ascii")
    at = data.find(b"warmwatch-seal ")
    while at >= 0:
        data = data[:at] + place + data[at + _SEAL_LENGTH :]
        at = data.find(b"warmwatch-seal ", at + _SEAL_LENGTH)
    if place not in data:
        data = data + b"\n%" + place + b"\n"
    sealed = seal_pdf(data, None)
    if sealed.count(b"warmwatch-seal ") <= 4:
        assert check_pdf(sealed).intact
    return sealed


def job_file(data: bytes, path: Path) -> None:
    """Read a job file as `watch` does."""
    path.write_bytes(data)
    with contextlib.suppress(UsageError):
        make_job(parse_address("lines:-"), JobFile.of(path), "80:90", None)
