"""What verify says to tamperings of a proof's page and signature, by kind.

An opponent has the program, its source and its docs. "without" is without the shop key, to a proof
that was never signed; "with" is to one that the shop signed, held against the shop's public key.
"""

import random
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

from tests.recording.invented import JOB, UTC_S, check_items, fold
from tests.recording.test_when import SIGNAL
from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.watch import Watch
from warmwatch.outputs.proof import document
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.page import proof_page
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.outputs.proof.visit import gather
from warmwatch.recording.seal.key import ShopKey, make_key, sign_recording
from warmwatch.recording.seal.pdf import PLACEHOLDER, blank, seal_pdf, sealed_part
from warmwatch.recording.seal.report import Report, require_key
from warmwatch.recording.seal.signature import signature_path
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.writer import create

TIME = "2026-06-02T03:04:05Z"


@dataclass(frozen=True)
class Case:
    """A proof as bytes, its recording, and the shop key; `stranger` is the opponent's own."""

    data: bytes
    recording: Path
    key: ShopKey | None
    stranger: ShopKey


def random_bytes(case: Case, rng: random.Random) -> Report:
    """One byte of the PDF changed, put in or taken out."""
    data, at = case.data, rng.randrange(len(case.data))
    changed = (
        data[:at] + bytes([data[at] ^ rng.randrange(1, 256)]) + data[at + 1 :],
        data[:at] + bytes([rng.randrange(256)]) + data[at:],
        data[:at] + data[at + 1 :],
    )
    return verify_pdf(rng.choice(changed))


def resealed(case: Case, rng: random.Random) -> Report:
    """One byte of the sealed part changed, and the seal made again."""
    bare = bytearray(blank(sealed_part(case.data)))
    place = bare.index(PLACEHOLDER.encode())
    at = rng.randrange(len(bare) - len(PLACEHOLDER))
    at += len(PLACEHOLDER) * (at >= place)
    bare[at] ^= rng.randrange(1, 256)
    return verify_pdf(seal_pdf(bytes(bare), None))


def signature_bytes(case: Case, rng: random.Random) -> Report:
    """One letter of the recording's signature file changed."""
    path = signature_path(case.recording)
    whole = path.read_bytes()
    at = rng.randrange(len(whole))
    path.write_bytes(whole[:at] + bytes([whole[at] ^ rng.randrange(1, 128)]) + whole[at + 1 :])
    report = verify_recording(case.recording)
    path.write_bytes(whole)
    return report


def lie(**changes: object) -> Callable[[Case, random.Random], Report]:
    """Return a tampering: a page that says something else, sealed as if it were genuine."""

    def act(case: Case, rng: random.Random) -> Report:
        with patch.object(document, "proof_page", lambda visit: proof_page(visit) | changes):
            made = make_proof(gather(case.recording), paper="a4", key=None, time=TIME)
        return verify_pdf(made)

    return act


def other_version(case: Case, rng: random.Random) -> Report:
    """A false page that claims to be of another typesetter."""
    claimed = lambda: (("warmwatch", "9"), ("source", "0"))  # noqa: E731
    with patch.object(document, "typesetter", claimed):
        return lie(remarks=[], sign="✔")(case, rng)


def own_key(case: Case, rng: random.Random) -> Report:
    """The genuine page, signed by the opponent's own key."""
    return verify_pdf(make_proof(gather(case.recording), paper="a4", key=case.stranger, time=TIME))


def raised(case: Case, rng: random.Random) -> Report:
    """All temperatures raised by 2.5 °C with their raw bytes left, and everything made again."""
    return verify_recording(_again(case, lambda item: _warmer(item, raw=item.raw)))


def raised_bare(case: Case, rng: random.Random) -> Report:
    """All temperatures raised by 2.5 °C without raw bytes, and everything made again."""
    return verify_recording(_again(case, lambda item: _warmer(item, raw="")))


def raised_with_bytes(case: Case, rng: random.Random) -> Report:
    """All temperatures raised by 2.5 °C with bytes that fit, and everything made again."""
    return verify_recording(_again(case, lambda item: _warmer(item, raw=_bytes(item, 2.5))))


def _bytes(item: Reading, by_c: float = 0.0) -> str:
    number = round((item.values["fluid_c"] + by_c + 40.0) * 10)
    return f"7E9 622A17{number:04X}"


def _warmer(item: Reading, *, raw: str) -> Reading:
    fluid_c = item.values["fluid_c"] + 2.5
    return replace(item, values=dict(item.values) | {"fluid_c": fluid_c}, raw=raw)


def _again(case: Case, change: Callable[[Reading], Reading]) -> Path:
    folder = Path(tempfile.mkdtemp(dir=case.recording.parent))
    items = (change(item) if isinstance(item, Reading) else item for item in story())
    return recorded(folder, items)


def story() -> Iterator[Item]:
    """Yield a check whose readings carry the bytes that they were read from."""
    for item in check_items(30):
        if isinstance(item, Reading):
            yield replace(item, raw=_bytes(item))
        elif isinstance(item, Mark):
            yield item


def recorded(folder: Path, items: Iterator[Item]) -> Path:
    """Record items as a watch of a vehicle does."""
    recorder = create(folder, JOB, "can:can0", {"signals": [SIGNAL]}, UTC_S)
    watch, item = Watch(JOB), None
    for item in items:
        fold(recorder, watch, item)
    recorder.close(watch.snapshot().elapsed_s, None if item is None else item.utc_s, watch.verdict)
    return recorder.path


ONCE: dict[str, Callable[[Case, random.Random], Report]] = {
    "false page, sealed anew: temperature": lie(verdict="Level set with the fluid at 86 °C."),
    "false page, sealed anew: sign": lie(sign="✔", remarks=[]),
    "false page, sealed anew: band": lie(about=[["Check temperature", "70 to 95 °C"]]),
    "false page that claims another version": other_version,
    "genuine page by the opponent's key": own_key,
    "temperatures raised, bytes left": raised,
    "temperatures raised, no bytes": raised_bare,
    "temperatures raised, with bytes that fit": raised_with_bytes,
}
OFTEN: dict[str, Callable[[Case, random.Random], Report]] = {
    "a byte of the PDF": random_bytes,
    "a byte of the PDF, sealed anew": resealed,
    "a letter of the signature file": signature_bytes,
}


def rows(count: int, folder: Path) -> list[str]:
    """Return a table: what verify says, without and with the shop's signature."""
    shop, stranger = (
        make_key(folder / f"{who}.pem", f"invented {who}") for who in ("shop", "other")
    )
    plain, signed = recorded(folder / "a", story()), recorded(folder / "b", story())
    sign_recording(signed, shop, TIME)
    unsigned = make_proof(gather(plain), paper="a4", key=None, time=TIME)
    whole = make_proof(gather(signed), paper="a4", key=shop, time=TIME)
    cases = Case(unsigned, plain, None, stranger), Case(whole, signed, shop, stranger)
    table = [
        "| change of a proof | tried | without the key | signed by the shop |",
        "|---|---|---|---|",
    ]
    for what, act in (OFTEN | ONCE).items():
        times = count if what in OFTEN else 1
        table.append(f"| {what} | {times} | {' | '.join(told(one, act, times) for one in cases)} |")
    return table


def told(case: Case, act: Callable[[Case, random.Random], Report], times: int) -> str:
    """Return what verify says, by how often."""
    if act is signature_bytes and case.key is None:
        return "-"
    rng, found = random.Random(17), Counter[str]()
    for _ in range(times):
        report = act(case, rng)
        if case.key is not None:
            report = require_key(report, case.key.fingerprint)
        found[f"`{report.state}`"] += 1
    return ", ".join(f"{state}" if times == 1 else f"{n} {state}" for state, n in found.items())
