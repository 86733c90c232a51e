"""Verify finds every change; what it can and cannot tell apart."""

import hashlib
import io
import json
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from tests.recording.invented import JOB, UTC_S, check_items, fold, record
from warmwatch.commands.main import run
from warmwatch.core.forecast.ensemble import NAMES
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording import sidecar as sidecars
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.rows import HEADER, Chain
from warmwatch.recording.schema import current_schema
from warmwatch.recording.seal.key import ShopKey, make_key, public_pem, sign_recording
from warmwatch.recording.seal.report import SealState, require_key
from warmwatch.recording.seal.verify import Parts, verify_bytes, verify_parts, verify_recording
from warmwatch.recording.writer import create

CHANGES = 300


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes]:
    """An intact recording and its sidecar, as bytes."""
    path = record(tmp_path_factory.mktemp("whole"), check_items(count=48, step_s=0.25))
    return path.read_bytes(), sidecar_path(path).read_bytes()


split_line = current_schema().split


def state(data: bytes, sidecar: bytes | None) -> SealState:
    return verify_bytes("x.csv", data, sidecar, None).state


def rechained(lines: Sequence[str]) -> bytes:
    """Return rows (with or without digests) sealed anew, as a forger who knows the format would."""
    chain = Chain()
    sealed = [chain.seal(split_line(line)) for line in lines]
    return "".join(line + "\r\n" for line in [HEADER, *sealed]).encode()


def test_an_intact_recording_is_intact(tmp_path: Path) -> None:
    """Closed, chain good, sidecar good, events the same, outcome as the readings give it."""
    report = verify_recording(record(tmp_path))
    assert (report.state, report.reason, report.row) == (SealState.INTACT, "", None)
    assert (report.events, report.outcome, report.exit_code) == ("same", "set-inside", 0)


def test_a_renamed_recording_is_told_and_stays_intact(tmp_path: Path) -> None:
    """Its sidecar, sealed by the first row, names it by its old name: other programs look there."""
    path = record(tmp_path)
    renamed = path.with_name("other.csv")
    sidecar_path(path).rename(sidecar_path(renamed))
    path.rename(renamed)
    report = verify_recording(renamed)
    assert (report.state, report.exit_code) == (SealState.INTACT, 0)
    assert f"recorded as {path.name}" in report.reason


def _change_byte(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + bytes([data[at] ^ rng.randrange(1, 256)]) + data[at + 1 :]


def _insert_byte(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    return data[:at] + bytes([rng.randrange(256)]) + data[at:]


def _delete_byte(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + data[at + 1 :]


def _rows(data: bytes) -> list[bytes]:
    return data.split(b"\r\n")[:-1]


def _join(rows: list[bytes]) -> bytes:
    return b"".join(row + b"\r\n" for row in rows)


def _delete_row(data: bytes, rng: random.Random) -> bytes:
    rows = _rows(data)
    del rows[rng.randrange(len(rows))]
    return _join(rows)


def _swap_rows(data: bytes, rng: random.Random) -> bytes:
    rows = _rows(data)
    a, b = rng.sample(range(len(rows)), 2)
    rows[a], rows[b] = rows[b], rows[a]
    return _join(rows)


def _insert_row(data: bytes, rng: random.Random) -> bytes:
    rows = _rows(data)
    rows.insert(rng.randrange(len(rows) + 1), rng.choice(rows))
    return _join(rows)


def _truncate(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data))]


@pytest.mark.slow
@pytest.mark.parametrize(
    "tamper",
    [_change_byte, _insert_byte, _delete_byte, _delete_row, _swap_rows, _insert_row, _truncate],
)
def test_every_one_of_many_changes_is_found(
    whole: tuple[bytes, bytes], tamper: Callable[[bytes, random.Random], bytes]
) -> None:
    """Of 300 random changes of each kind none passes as intact."""
    data, sidecar = whole
    rng = random.Random(20260101)
    for _ in range(CHANGES):
        changed = tamper(data, rng)
        assert changed != data
        assert state(changed, sidecar) is not SealState.INTACT


def test_a_change_is_told_with_its_row(whole: tuple[bytes, bytes]) -> None:
    """`changed at row N`, counted as an editor counts lines."""
    data, sidecar = whole
    rows = _rows(data)
    rows[9] = rows[9].replace(b"760.0", b"770.0")
    report = verify_bytes("x.csv", _join(rows), sidecar, None)
    assert (report.state, report.row, report.exit_code) == (SealState.CHANGED, 10, 1)


def test_every_change_of_the_sidecar_is_found(whole: tuple[bytes, bytes]) -> None:
    """The first row seals it; without it nothing is intact."""
    data, sidecar = whole
    rng = random.Random(5)
    for _ in range(200):
        assert state(data, _change_byte(sidecar, rng)) is SealState.CHANGED
    assert state(data, None) is SealState.CHANGED


@pytest.mark.slow
def test_truncation_of_a_closed_recording_is_found(whole: tuple[bytes, bytes]) -> None:
    """Cut anywhere it is torn or never closed, exit code 3, never intact and never changed."""
    data, sidecar = whole
    cuts = {*range(len(data) - 400, len(data)), *range(len(HEADER) + 3, len(data), 41)}
    for cut in sorted(cuts):
        report = verify_bytes("x.csv", data[:cut], sidecar, None)
        assert report.state in (SealState.TORN, SealState.NEVER_CLOSED), cut
        assert report.exit_code == 3


def test_an_unclosed_recording_is_told_as_such(tmp_path: Path) -> None:
    """Whole as far as it goes, but never closed."""
    report = verify_recording(record(tmp_path, close=False))
    assert (report.state, report.exit_code) == (SealState.NEVER_CLOSED, 3)


def test_zero_bytes_at_the_end_are_a_torn_end(whole: tuple[bytes, bytes]) -> None:
    """A power cut may leave them; zero bytes with text behind them are a change."""
    data, sidecar = whole
    rows = _rows(data)
    start = _join(rows[:10])
    assert state(start + bytes(100_000), sidecar) is SealState.TORN
    assert state(start + bytes(100_000) + _join(rows[10:]), sidecar) is SealState.CHANGED


@pytest.mark.slow
def test_forged_events_are_found_by_deriving_them_anew(whole: tuple[bytes, bytes]) -> None:
    """With the chain made anew by one who knows how, events taken out, moved, altered or put in
    still differ from what the readings give.
    """
    data, sidecar = whole
    rows = [row.decode() for row in _rows(data)][1:]
    events = [i for i, row in enumerate(rows) if split_line(row)["kind"] == "event"]
    assert len(events) >= 2
    assert state(rechained(rows), sidecar) is SealState.INTACT
    rng = random.Random(3)
    for i in events:
        assert state(rechained(rows[:i] + rows[i + 1 :]), sidecar) is SealState.CHANGED
        name = split_line(rows[i])["name"]
        altered = rows[i].replace(f",event,{name},", ",event,rest-over,")
        assert state(rechained([*rows[:i], altered, *rows[i + 1 :]]), sidecar) is SealState.CHANGED
        for _ in range(20):
            at = rng.randrange(1, len(rows))
            if at in (i, i + 1):
                continue
            moved = rows[:i] + rows[i + 1 :]
            moved.insert(at if at < i else at - 1, rows[i])
            assert state(rechained(moved), sidecar) is SealState.CHANGED
            added = [*rows[:at], rows[i], *rows[at:]]
            assert state(rechained(added), sidecar) is SealState.CHANGED


def test_a_forged_outcome_or_count_is_found(whole: tuple[bytes, bytes]) -> None:
    """The closing row says what the readings give, and counts the rows."""
    data, sidecar = whole
    rows = [row.decode() for row in _rows(data)][1:]
    for was, forged in (("set-inside", "set-outside"), ("rows=", "rows=1")):
        changed = [*rows[:-1], rows[-1].replace(was, forged)]
        assert state(rechained(changed), sidecar) is SealState.CHANGED


def test_a_forged_reading_alone_is_only_found_by_a_signature(tmp_path: Path) -> None:
    """What verify does not prove: without a signature a whole new chain looks genuine."""
    path = record(tmp_path, [Reading(float(t), {"fluid_c": 50.0}) for t in range(20)])
    key = make_key(tmp_path / "key.pem", "invented shop")
    sign_recording(path, key, "2026-06-01T00:00:00Z")
    assert verify_recording(path).signed_by == key.fingerprint
    rows = [row.decode() for row in _rows(path.read_bytes())][1:]
    path.write_bytes(rechained([row.replace("50.0", "51.0") for row in rows]))
    report = verify_recording(path)
    assert (report.state, report.signed_by) == (SealState.CHANGED, "")
    (tmp_path / (path.name + "-signature.json")).unlink()
    unsigned = verify_recording(path)
    assert unsigned.state is SealState.INTACT
    assert require_key(unsigned, key.fingerprint).state is SealState.OTHER_KEY


def test_events_of_another_core_are_no_forgery(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another version may judge otherwise: not called changed, and never intact."""
    monkeypatch.setattr(sidecars, "fold_digest", lambda: "0123456789abcdef")
    path = record(tmp_path)
    monkeypatch.undo()
    rows = [row.decode() for row in _rows(path.read_bytes())][1:]
    kept = [row for row in rows if split_line(row)["name"] != "entered"]
    kept[-1] = kept[-1].replace(f"rows={len(rows) - 1}", f"rows={len(kept) - 1}")
    path.write_bytes(rechained(kept))
    report = verify_recording(path)
    assert (report.state, report.exit_code) == (SealState.OTHER_VERSION, 4)
    assert report.events == "not worked out"
    assert "made by another version and were not worked out again" in report.reason
    with pytest.raises(RecordingError, match="other-version"):
        sign_recording(path, make_key(tmp_path / "key.pem", "Invented workshop"), "")


def test_a_learned_prior_is_kept_so_that_events_come_out_again(tmp_path: Path) -> None:
    """The sidecar holds what the forecaster had learned, and a broken one is told."""
    size = len(NAMES)
    spread = tuple(tuple(0.04 * (i == j) for j in range(size)) for i in range(size))
    prior = Prior((-1.0,) * size, spread, 3, {"idle": 1.0})
    recorder = create(tmp_path, JOB, "lines:-", {}, UTC_S, prior)
    watch = Watch(JOB, Forecaster(Prior.from_mapping(prior.to_mapping())))
    for item in check_items():
        fold(recorder, watch, item)
    recorder.close(60.0, UTC_S + 60, watch.verdict)
    report = verify_recording(recorder.path)
    assert (report.state, report.events) == (SealState.INTACT, "same")
    document = json.loads(sidecar_path(recorder.path).read_text(encoding="utf-8"))
    document["warmwatch:prior"]["version"] = 99
    with pytest.raises(RecordingError, match="prior"):
        sidecars.sidecar_watch(document)


def test_clock_set_back_and_summer_time_change_nothing(tmp_path: Path) -> None:
    """Elapsed time rules: wall time an hour back in the middle, and the result is the same."""
    items = list(check_items())
    back: list[Item] = [
        replace(item, utc_s=UTC_S - 3600) if item.elapsed_s > 30 else item for item in items
    ]
    report = verify_recording(record(tmp_path, back))
    assert (report.state, report.outcome) == (SealState.INTACT, "set-inside")


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "UTC"])
def test_the_time_zone_does_not_matter(
    tmp_path: Path, zone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The night the clocks are changed: times are UTC, and the file verifies anywhere."""
    monkeypatch.setenv("TZ", zone)
    night = 1_792_888_200.0  # 2026-10-25, 00:30 UTC: summer time ends in Europe within the hour
    items = [Reading(float(t * 60), {"fluid_c": 50.0}, utc_s=night + t * 60) for t in range(30)]
    path = record(tmp_path, items, close=True)
    assert verify_recording(path).state is SealState.INTACT
    assert b"2026-10-25T00:59:00.000Z" in path.read_bytes()


NOTES = [
    "=HYPERLINK(\"x\")",
    "line\nbreak\r\nand more",
    "quote \" and 'apostrophe', comma; semicolon",
    "עברית ثم العربية and back",
    "e\u0301 😀 \u202eoverride\u202c \ufeff",
    "\\n is not a line end, \\\\ neither",
    "+1", "-1", "@x", "\ttab", "'", " lead and trail ", "\0", "\u2028\u2029\x85",
]  # fmt: skip


@pytest.mark.parametrize("note", NOTES)
def test_any_note_comes_back_exactly(tmp_path: Path, note: str) -> None:
    """Right to left, line ends, quotes, formulas: exact, one row each, and intact."""
    read = Reading(0.0, {"fluid_c": 50.0})
    items: list[Item] = [read, Mark(1.0, MarkName.NOTE, note), Tick(2.0, note)]
    path = record(tmp_path, items)
    from warmwatch.outputs.proof.facts import read_items

    back = list(read_items(path))
    assert isinstance(back[1], Mark)
    assert isinstance(back[2], Tick)
    assert (back[1].note, back[2].gap) == (note, note)
    assert verify_recording(path).state is SealState.INTACT


def test_a_line_without_end_is_refused_in_bounded_memory(tmp_path: Path) -> None:
    """Two gigabytes without a line end: one chunk is looked at, and it is changed."""

    class Endless(io.RawIOBase):
        def __init__(self) -> None:
            self.given = 0

        def readable(self) -> bool:
            return True

        def readinto(self, buffer: object) -> int:
            view = memoryview(buffer)  # type: ignore[arg-type]
            view[:] = b"x" * len(view)
            self.given += len(view)
            assert self.given < 4 << 20
            return len(view)

    endless = io.BufferedReader(Endless())
    report = verify_parts(Parts("x.csv", endless, b"{}", None))
    assert report.state is SealState.CHANGED


def test_a_forged_chain_with_absurd_values_is_told_not_crashed(
    whole: tuple[bytes, bytes],
) -> None:
    """Numbers that are none, times that are none, deep JSON: changed, with the row."""
    data, sidecar = whole
    rows = [row.decode() for row in _rows(data)][1:]
    for was, forged in (
        ("3.0,reading", "nan,reading"),
        ("3.0,reading", "inf,reading"),
        ("3.0,reading", "1e999,reading"),
        ("3.0,reading", "three,reading"),
        (",reading,", ",other,"),
        (",mark,plug-out", ",mark,plug-off"),
        ("2026-", "20266-"),
    ):
        changed = [row.replace(was, forged, 1) for row in rows]
        assert state(rechained(changed), sidecar) is SealState.CHANGED, forged


def test_a_missing_file_is_an_error_of_one_sentence(tmp_path: Path) -> None:
    """It cannot be verified at all, which is no verdict."""
    with pytest.raises(RecordingError, match="No such file"):
        verify_recording(tmp_path / "none.csv")


def test_a_sidecar_that_is_none_is_told(tmp_path: Path) -> None:
    """Its digest may be right and the text no sidecar: told with what is wrong."""
    for text in ("{}", "[]", "\xff", '{"warmwatch:format": "warmwatch recording 1"}'):
        raw = text.encode("latin-1")
        chain = Chain()
        cells = {"elapsed_s": "0.0", "kind": "opened", "text": f"sidecar={_sha(raw)}"}
        data = f"{HEADER}\r\n{chain.seal(cells)}\r\n".encode()
        report = verify_bytes("x.csv", data, raw, None)
        assert report.state is SealState.CHANGED
        assert report.row == 2


def _sha(raw: bytes) -> str:
    import hashlib

    return hashlib.sha256(raw).hexdigest()


def test_the_job_in_the_sidecar_is_the_whole_job(tmp_path: Path) -> None:
    """So the fold can be done again."""
    document = json.loads(sidecar_path(record(tmp_path)).read_text(encoding="utf-8"))
    assert sidecars.sidecar_job(document) == JOB


def test_a_kept_bus_log_is_a_fact_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Intact, changed or missing is said; the recording stays what it is."""
    log = tmp_path / "visit.bus.log"
    log.write_bytes(b"(1.0) kept 123#01 R\n")
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    kept = f"bus kept in {log.name}: 1 pieces, 3 lost, sha256={digest}"
    path = record(tmp_path, [*check_items(), Mark(61.0, MarkName.NOTE, kept, UTC_S + 61)])

    def found() -> tuple[str, str]:
        assert run(["verify", str(path), "--json"]) == 0
        told = json.loads(capsys.readouterr().out)["bus"]
        assert run(["verify", str(path)]) == 0
        return told["state"], next(
            line for line in capsys.readouterr().out.splitlines() if log.name in line
        )

    assert found() == ("intact", f"  The bus log {log.name} beside it is as it was kept.")
    log.write_bytes(b"(1.0) kept 123#02 R\n")
    state, line = found()
    assert (state, "WAS CHANGED" in line) == ("changed", True)
    log.unlink()
    assert found()[0] == "missing"


def test_a_signer_is_named_and_not_taken_for_the_shop(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without --key it is said that nobody compared the key; with it that word is gone."""
    path = record(tmp_path)
    key = make_key(tmp_path / "key.pem", name="Any name at all")
    sign_recording(path, key, "2026-11-26T00:00:00Z")
    (tmp_path / "public.pem").write_text(public_pem(key))
    for options, compared in (([], False), (["--key", str(tmp_path / "public.pem")], True)):
        assert run(["verify", str(path), *options]) == 0
        text = capsys.readouterr().out
        assert f"Signed by key {key.fingerprint} (Any name at all)" in text
        assert ("ANYBODY CAN HAVE A KEY" not in text) is compared
        assert run(["verify", str(path), *options, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["signature"]["compared"] is compared


LINES = "x)\n  Signed by key 0000-0000-0000-0000 (The Shop\x1b[1A\x1b[2K\u202e"


def test_what_a_file_says_never_looks_like_a_line_of_verify(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Line ends and terminal controls in labels and in a key's name stay inside their line."""
    job = replace(JOB, vehicle=LINES, band_source=LINES)
    path = record(tmp_path, job=job)
    stranger = ShopKey(make_key(tmp_path / "key.pem", "stranger").private, LINES)
    sign_recording(path, stranger, "2026-11-26T00:00:00Z")
    assert run(["verify", str(path)]) == 0
    text = capsys.readouterr().out
    assert sum(line.startswith("  Signed by key") for line in text.splitlines()) == 1
    assert f"  Signed by key {stranger.fingerprint}" in text
    assert all(char.isprintable() or char == "\n" for char in text)
    assert run(["jobs", str(tmp_path)]) == 0
    listed = capsys.readouterr().out
    assert not any(line.startswith("  Signed") for line in listed.splitlines())
    assert all(char.isprintable() or char == "\n" for char in listed)
