"""Changes of a recording, its sidecar and its signature: what is found without the key, and with.

"Without" means the recording alone; "with" that it was signed, and `verify --key` names the key.
"""

import hashlib
import json
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.recording.invented import check_items, record
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.rows import Chain
from warmwatch.recording.schema import schema_of
from warmwatch.recording.seal.key import ShopKey, make_key, sign_recording
from warmwatch.recording.seal.report import SealState, require_key
from warmwatch.recording.seal.signature import signature_path
from warmwatch.recording.seal.verify import verify_bytes

Rows = list[dict[str, str]]


@dataclass(frozen=True)
class Evidence:
    """A recording with its companions, as bytes."""

    data: bytes
    sidecar: bytes
    signature: bytes | None

    def is_intact(self, key: str = "") -> bool:
        report = verify_bytes("x.csv", self.data, self.sidecar, self.signature)
        return (require_key(report, key) if key else report).state is SealState.INTACT


Tamper = Callable[[Evidence, random.Random], Evidence]


def _bytes(change: Callable[[bytes, random.Random], bytes], part: str) -> Tamper:
    def tamper(was: Evidence, rng: random.Random) -> Evidence:
        parts = {name: getattr(was, name) for name in ("data", "sidecar", "signature")}
        if parts[part] is not None:
            parts[part] = change(parts[part], rng)
        return Evidence(**parts)

    return tamper


def _flip(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + bytes([data[at] ^ rng.randrange(1, 256)]) + data[at + 1 :]


def _insert(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + bytes([rng.randrange(256)]) + data[at:]


def _drop(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + data[at + 1 :]


def _cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data))]


def _drop_row(data: bytes, rng: random.Random) -> bytes:
    rows = data.split(b"\r\n")[:-1]
    del rows[rng.randrange(len(rows))]
    return b"".join(row + b"\r\n" for row in rows)


def _swap_rows(data: bytes, rng: random.Random) -> bytes:
    rows = data.split(b"\r\n")[:-1]
    a, b = rng.sample(range(len(rows)), 2)
    rows[a], rows[b] = rows[b], rows[a]
    return b"".join(row + b"\r\n" for row in rows)


def remade(was: Evidence, rows: Rows, sidecar: bytes | None = None) -> Evidence:
    """Return evidence with these rows, its chain made again by one who knows how."""
    sidecar = was.sidecar if sidecar is None else sidecar
    schema = schema_of(was.data.partition(b"\r\n")[0].decode())
    assert schema is not None
    rows[0]["text"] = "sidecar=" + hashlib.sha256(sidecar).hexdigest()
    rows[-1]["text"] = f"rows={len(rows) - 1}"
    chain = Chain(schema)
    lines = [schema.header, *(chain.seal(row) for row in rows)]
    return Evidence("".join(f"{line}\r\n" for line in lines).encode(), sidecar, was.signature)


def rows_of(evidence: Evidence) -> Rows:
    header, *lines = evidence.data.decode().split("\r\n")[:-1]
    schema = schema_of(header)
    assert schema is not None
    return [schema.split(line) for line in lines]


def _of_kind(rows: Rows, kind: str, rng: random.Random) -> int:
    return rng.choice([at for at, row in enumerate(rows) if row["kind"] == kind])


def event_out(was: Evidence, rng: random.Random) -> Evidence:
    rows = rows_of(was)
    del rows[_of_kind(rows, "event", rng)]
    return remade(was, rows)


def event_out_foreign(was: Evidence, rng: random.Random) -> Evidence:
    """An event taken out, and the sidecar says that another version made it."""
    sidecar = json.loads(was.sidecar)
    sidecar["warmwatch:versions"]["fold"] = f"{rng.getrandbits(64):016x}"
    rows = rows_of(was)
    del rows[_of_kind(rows, "event", rng)]
    return remade(was, rows, (json.dumps(sidecar, indent=1) + "\n").encode())


def event_moved(was: Evidence, rng: random.Random) -> Evidence:
    rows = rows_of(was)
    event = rows.pop(_of_kind(rows, "event", rng))
    at = rng.randrange(1, len(rows))
    rows.insert(at, event)
    return remade(was, rows)


def event_in(was: Evidence, rng: random.Random) -> Evidence:
    rows = rows_of(was)
    event = dict(rows[_of_kind(rows, "event", rng)])
    rows.insert(rng.randrange(1, len(rows)), event)
    return remade(was, rows)


def outcome_changed(was: Evidence, rng: random.Random) -> Evidence:
    rows = rows_of(was)
    others = {"set-inside", "set-outside", "checked-inside", "no-check"} - {rows[-1]["name"]}
    rows[-1]["name"] = rng.choice(sorted(others))
    return remade(was, rows)


def reading_raised(was: Evidence, rng: random.Random) -> Evidence:
    """All readings raised, the raw bytes left, events and outcome as they were."""
    rows, by_c = rows_of(was), rng.uniform(2.5, 38.0)
    for row in rows:
        if row["kind"] == "reading":
            row["fluid_c"] = repr(float(row["fluid_c"]) + by_c)
    return remade(was, rows)


def mark_out(was: Evidence, rng: random.Random) -> Evidence:
    rows = rows_of(was)
    del rows[_of_kind(rows, "mark", rng)]
    return remade(was, rows)


def band_changed(was: Evidence, rng: random.Random) -> Evidence:
    sidecar = json.loads(was.sidecar)
    sidecar["warmwatch:job"]["band"]["high_c"] += rng.uniform(1.0, 20.0)
    return remade(was, rows_of(was), (json.dumps(sidecar, indent=1) + "\n").encode())


def label_changed(was: Evidence, rng: random.Random) -> Evidence:
    """Another vehicle's name in the sidecar: nothing in the rows hangs on it."""
    sidecar = json.loads(was.sidecar)
    sidecar["warmwatch:job"]["vehicle"] = f"another {rng.randrange(1000)}"
    return remade(was, rows_of(was), (json.dumps(sidecar, indent=1) + "\n").encode())


def signature_gone(was: Evidence, rng: random.Random) -> Evidence:
    return Evidence(was.data, was.sidecar, None)


@dataclass
class Signer:
    """Signs invented recordings, each with a check, in a folder."""

    folder: Path
    key: ShopKey

    def evidence(self, count: int) -> Evidence:
        path = record(self.folder, check_items(count, 0.25))
        signed = sign_recording(path, self.key, "2026-05-28T21:00:00Z")
        assert signed == signature_path(path)
        return Evidence(path.read_bytes(), sidecar_path(path).read_bytes(), signed.read_bytes())


KINDS: dict[str, Tamper] = {
    "recording: a byte changed": _bytes(_flip, "data"),
    "recording: a byte put in": _bytes(_insert, "data"),
    "recording: a byte taken out": _bytes(_drop, "data"),
    "recording: cut off": _bytes(_cut, "data"),
    "recording: a row taken out": _bytes(_drop_row, "data"),
    "recording: two rows exchanged": _bytes(_swap_rows, "data"),
    "chain made again: an event taken out": event_out,
    "chain made again: an event taken out, fold of another version": event_out_foreign,
    "chain made again: an event moved": event_moved,
    "chain made again: an event put in": event_in,
    "chain made again: another outcome": outcome_changed,
    "chain made again: a mark taken out": mark_out,
    "chain made again: all readings raised by 2.5 to 38 °C": reading_raised,
    "chain made again: another band in the sidecar": band_changed,
    "chain made again: another vehicle's name": label_changed,
    "sidecar: a byte changed": _bytes(_flip, "sidecar"),
    "signature: a byte changed": _bytes(_flip, "signature"),
    "signature: taken away": signature_gone,
}


def found(kind: str, count: int, whole: Evidence, key: str) -> tuple[int, int, int]:
    """Return (tried, found without the key, found with it); unchanged ones are not counted."""
    rng, tried, without, by_key = random.Random(kind), 0, 0, 0
    for _ in range(count):
        changed = KINDS[kind](whole, rng)
        if changed == whole:
            continue
        tried += 1
        alone = Evidence(changed.data, changed.sidecar, None)
        without += not alone.is_intact()
        by_key += not changed.is_intact(key)
    return tried, without, by_key


def rows(count: int, folder: Path) -> list[str]:
    """Return a row for each kind of change."""
    signer = Signer(folder, make_key(folder / "key.pem", "Invented workshop"))
    whole, key = signer.evidence(48), signer.key.fingerprint
    assert whole.is_intact(key)
    lines = []
    for kind in KINDS:
        tried, without, by_key = found(kind, count, whole, key)
        alone = "-" if kind.startswith("signature") else str(without)
        lines.append(f"| {kind} | {tried} | {alone} | {by_key} |")
    return lines
