"""What verify says and at which row, of recordings broken in one place with the chain made anew."""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.recording.invented import check_items, record
from tests.recording.test_seal_files import KEY, LIMIT, point, signed
from tests.recording.test_when import J1939, SIGNAL, TEXT, readings, recorded
from warmwatch._version import __version__
from warmwatch.core.reading import Reading, Tick
from warmwatch.errors import RecordingError
from warmwatch.recording.names import checkpoint_path, sidecar_path
from warmwatch.recording.rows import HEADER, Chain
from warmwatch.recording.schema import current_schema
from warmwatch.recording.seal import checkpoint, verify
from warmwatch.recording.seal import signed as signing
from warmwatch.recording.seal.raw_bytes import RawBytes
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.signature import signature_path
from warmwatch.recording.seal.verify import Parts, verify_bytes, verify_parts, verify_recording

Row = dict[str, str]
INTACT, CHANGED = SealState.INTACT, SealState.CHANGED
split = current_schema().split


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Row], dict[str, Any]]:
    """The rows of an intact recording, and its sidecar."""
    path = record(tmp_path_factory.mktemp("whole"), check_items(20, 0.25))
    lines = path.read_text(encoding="utf-8").split("\n")[1:-1]
    rows = [split(line.rstrip("\r")) for line in lines]
    return rows, json.loads(sidecar_path(path).read_text(encoding="utf-8"))


def made(rows: list[Row], sidecar: Mapping[str, Any] | bytes) -> tuple[bytes, bytes]:
    """Return a recording with the chain made anew, and its sidecar, sealed by the first row."""
    raw = sidecar if isinstance(sidecar, bytes) else json.dumps(sidecar).encode()
    chain = Chain()
    seal = "sidecar=" + hashlib.sha256(raw).hexdigest()
    sealed = [{**row, "text": seal} if n == 0 else row for n, row in enumerate(rows)]
    lines = [HEADER, *map(chain.seal, sealed)]
    return "".join(line + "\r\n" for line in lines).encode(), raw


def told(rows: list[Row], sidecar: Mapping[str, Any] | bytes, behind: bytes = b"") -> Report:
    """Return what verify says of them."""
    data, raw = made(rows, sidecar)
    return verify_bytes("x.csv", data + behind, raw, None)


def counted(rows: list[Row]) -> list[Row]:
    """Return rows whose closing row gives their number, as the writer counts them."""
    return [*rows[:-1], {**rows[-1], "text": f"rows={len(rows) - 1}"}]


def test_what_is_no_recording_is_told_at_its_first_line() -> None:
    """Lines are counted as an editor counts them (docs/verify.md): the header is line 1."""
    report = verify_bytes("x.csv", b"hello\r\n", b"{}", None)
    assert (report.state, report.row) == (CHANGED, 1)
    assert "not the header" in report.reason
    assert (report.events, report.outcome, report.vouched, report.bus) == ("", "", None, None)


def test_a_recording_of_which_hardly_anything_is_left(
    whole: tuple[list[Row], dict[str, Any]],
) -> None:
    """Only a header: torn. A header and the opening row: never closed, one row whole."""
    rows, sidecar = whole
    bare = told([], sidecar)
    assert (bare.state, bare.reason, bare.rows) == (SealState.TORN, "no row is left", 0)
    opened = told(rows[:1], sidecar)
    assert (opened.state, opened.rows) == (SealState.NEVER_CLOSED, 1)
    assert opened.reason == "it was never closed; all 1 rows up to its end are whole"


@pytest.mark.parametrize(
    ("kept", "row", "left"),
    [
        (0, 2, "nothing before it is left"),
        (1, 3, "rows 2 to 2 are whole"),
        (2, 4, "rows 2 to 3 are whole"),
        (5, 7, "rows 2 to 6 are whole"),
    ],
)
def test_a_torn_row_is_told_with_what_is_whole_before_it(
    whole: tuple[list[Row], dict[str, Any]], kept: int, row: int, left: str
) -> None:
    """docs/verify.md: `verify` names the part that is whole; half a row is not of it."""
    report = told(whole[0][:kept], whole[1], b"2026-")
    assert (report.state, report.row, report.rows) == (SealState.TORN, row, kept)
    assert report.reason == f"row {row} is torn, 5 bytes of it are left; {left}"
    assert (report.outcome, report.vouched) == ("", None)


def test_what_follows_the_closing_row_is_a_change(
    whole: tuple[list[Row], dict[str, Any]],
) -> None:
    """A whole row, half a row or zero bytes alike: nothing is written after the end."""
    rows, sidecar = whole
    assert told(rows, sidecar).state is INTACT
    found = [told([*rows, rows[5]], sidecar), told(rows, sidecar, b"x"), told(rows, sidecar, b"\0")]
    for report in found:
        assert (report.state, report.row) == (CHANGED, len(rows) + 2)
        assert report.reason == "something follows the closing row"


def test_nothing_is_vouched_for_before_the_end(whole: tuple[list[Row], dict[str, Any]]) -> None:
    """What readings show stands only in the report of a closed recording that is as it was."""
    rows, sidecar = whole
    closed = told(rows, sidecar)
    assert closed.outcome == "set-inside"
    assert closed.vouched is not None
    for report in (told(rows[:-1], sidecar), told([*rows, rows[5]], sidecar)):
        assert (report.outcome, report.vouched, report.events) == ("", None, "same")
    assert told(rows[:-1], sidecar).state is SealState.NEVER_CLOSED


def _again(rows: list[Row]) -> list[Row]:
    return counted([*rows[:3], rows[0], *rows[3:]])


def _late(rows: list[Row]) -> list[Row]:
    return counted([rows[1], *rows[1:]])


def _uncounted(rows: list[Row]) -> list[Row]:
    return [*rows[:-1], {**rows[-1], "text": f"rows={len(rows)}"}]


def _other_kind(rows: list[Row]) -> list[Row]:
    return counted([*rows[:3], {**rows[3], "kind": "other"}, *rows[4:]])


@pytest.mark.parametrize(
    ("change", "row", "why"),
    [
        (_again, 5, "the opening row is missing or not the first"),
        (_late, 2, "the opening row is missing or not the first"),
        (_uncounted, None, "does not give the number of rows"),
        (_other_kind, 5, "the row cannot be read: 'other' is no kind of row"),
    ],
)
def test_rows_that_the_writer_does_not_write_are_told_with_their_line(
    whole: tuple[list[Row], dict[str, Any]],
    change: Callable[[list[Row]], list[Row]],
    row: int | None,
    why: str,
) -> None:
    """The form of a recording (docs/verify.md), with a chain that holds."""
    report = told(change(whole[0]), whole[1])
    assert report.state is CHANGED
    assert report.row == (len(whole[0]) + 1 if row is None else row)
    assert why in report.reason


@pytest.mark.parametrize("column", ["time", "elapsed_s", "name", "other", "fit", "text"])
def test_each_cell_of_an_event_must_be_what_the_readings_give(
    whole: tuple[list[Row], dict[str, Any]], column: str
) -> None:
    """docs/verify.md, 3: altered reasons of events are found like altered events."""
    rows, sidecar = whole
    at = next(n for n, row in enumerate(rows) if row["kind"] == "event")
    was = rows[at][column]
    other = {"time": "2026-01-01T00:00:00.000Z", "elapsed_s": "0.5", "name": "rest-over"}
    forged = {**rows[at], column: other.get(column, was + "forged")}
    report = told([*rows[:at], forged, *rows[at + 1 :]], sidecar)
    assert (report.state, report.row, report.events) == (CHANGED, at + 2, "different")
    assert report.reason == "the readings give no such event here"


@pytest.mark.parametrize("column", ["doubts", "raw"])
def test_an_event_has_no_bytes_and_no_doubts(
    whole: tuple[list[Row], dict[str, Any]], column: str
) -> None:
    """Nothing can be hidden in a cell that events leave empty."""
    rows, sidecar = whole
    at = next(n for n, row in enumerate(rows) if row["kind"] == "event")
    report = told([*rows[:at], {**rows[at], column: "x"}, *rows[at + 1 :]], sidecar)
    assert (report.state, report.row) == (CHANGED, at + 2)


def test_an_event_put_in_or_taken_out_is_told_with_its_line(
    whole: tuple[list[Row], dict[str, Any]],
) -> None:
    """An event more is told where it stands, a missing one at the item after it."""
    rows, sidecar = whole
    at = next(n for n, row in enumerate(rows) if row["kind"] == "event")
    more = told(counted([*rows[:at], rows[at], rows[at], *rows[at + 1 :]]), sidecar)
    assert (more.state, more.row) == (CHANGED, at + 3)
    less = told(counted([*rows[:at], *rows[at + 1 :]]), sidecar)
    assert (less.state, less.row) == (CHANGED, at + 2)
    assert less.reason == f"the event {rows[at]['name']} that the readings give is missing"


def test_a_sidecar_that_does_not_fit_its_recording_is_told_at_the_opening_row(
    whole: tuple[list[Row], dict[str, Any]],
) -> None:
    """Line 2 seals it: other columns, or a job that cannot be one, are a change of it."""
    rows, sidecar = whole
    columns = sidecar["tableSchema"]["columns"]
    for member, why in (
        ({"tableSchema": {"columns": columns[:-1]}}, "its sidecar describes other columns"),
        ({"tableSchema": {}}, "it does not describe the columns"),
        ({"warmwatch:job": {}}, "The sidecar's job cannot be used"),
    ):
        report = told(rows, {**sidecar, **member})
        assert (report.state, report.row) == (CHANGED, 2)
        assert why in report.reason


def other_fold(sidecar: dict[str, Any], version: str = __version__) -> dict[str, Any]:
    """Return a sidecar made by another fold."""
    return {**sidecar, "warmwatch:versions": {"warmwatch": version, "fold": "0123456789abcdef"}}


@pytest.mark.parametrize(("version", "by"), [(__version__, "another core"), ("0.0.1", "0.0.1")])
def test_who_made_events_that_do_not_come_out_again_is_told(
    whole: tuple[list[Row], dict[str, Any]], version: str, by: str
) -> None:
    """docs/verify.md, 3: other-version, with both versions; the readings still show an outcome."""
    rows, sidecar = whole
    at = next(n for n, row in enumerate(rows) if row["kind"] == "event")
    kept = counted([*rows[:at], *rows[at + 1 :]])
    report = told(kept, other_fold(sidecar, version))
    assert (report.state, report.events) == (SealState.OTHER_VERSION, "not worked out")
    assert f"(made by {by}, this is {__version__})" in report.reason
    assert (report.outcome, report.vouched is None) == ("set-inside", False)


def test_a_job_that_this_version_cannot_read_is_of_another_version(
    whole: tuple[list[Row], dict[str, Any]],
) -> None:
    """Nothing is vouched for then, and nothing crashes; a newer format's sidecar likewise."""
    rows, sidecar = whole
    for unread in (
        {**other_fold(sidecar), "warmwatch:job": {}},
        {**sidecar, "warmwatch:format": "warmwatch recording 99"},
    ):
        report = told(rows, unread)
        assert (report.state, report.row) == (SealState.OTHER_VERSION, None)
        assert (report.outcome, report.vouched) == ("", None)


def test_bytes_are_compared_also_where_events_are_not(tmp_path: Path) -> None:
    """docs/verify.md, 4 stands for every recording: another fold excuses no raised reading."""
    path = recorded(tmp_path, readings())
    sidecar = json.loads(sidecar_path(path).read_text(encoding="utf-8"))
    lines = path.read_bytes().decode().split("\r\n")[1:-1]
    rows = [split(line) for line in lines]
    at = next(n for n, row in enumerate(rows) if row["kind"] == "event")
    less = counted([*rows[:at], *rows[at + 1 :]])
    assert told(less, other_fold(sidecar)).state is SealState.OTHER_VERSION
    last = max(n for n, row in enumerate(less) if row["kind"] == "reading")
    assert last > at
    forged = [*less[:last], {**less[last], "fluid_c": "99.0"}, *less[last + 1 :]]
    report = told(forged, other_fold(sidecar))
    assert (report.state, report.row) == (CHANGED, last + 2)
    assert "the temperature was changed" in report.reason


class Claims(bytes):
    """A line that says it is half a GiB long, so that no test has to hash one."""

    def __len__(self) -> int:
        return 1 << 29


class Lines:
    """A file of such lines."""

    def __init__(self, *lines: bytes) -> None:
        self._lines = [Claims(line) for line in lines]

    def readline(self, _: int) -> bytes:
        return self._lines.pop(0) if self._lines else b""


def test_a_recording_of_more_than_a_gibibyte_is_refused(
    whole: tuple[list[Row], dict[str, Any]],
) -> None:
    """A day at 10 Hz is about 200 MB: one GiB is read, a byte more is told with its line."""
    data, raw = made(whole[0], whole[1])
    lines = [line + b"\r\n" for line in data.split(b"\r\n")[:-1]]
    for number, state in ((2, SealState.NEVER_CLOSED), (3, CHANGED)):
        file: Any = Lines(*lines[:number])
        report = verify_parts(Parts("x.csv", file, raw, None))
        assert report.state is state
    assert (report.row, report.reason) == (3, "it is longer than any recording")


def test_companions_are_read_up_to_their_limits(
    tmp_path: Path, whole: tuple[list[Row], dict[str, Any]]
) -> None:
    """A sidecar of one MiB is read whole; longer than that it is a change, and so are a signature
    and a checkpoint of over 16 KiB, each with its own sentence.
    """
    path, text = tmp_path / "x.csv", json.dumps(whole[1]).encode()
    for size, state in (((1 << 20), INTACT), ((1 << 20) + 2, CHANGED)):
        data, raw = made(whole[0], text.ljust(size))
        path.write_bytes(data)
        sidecar_path(path).write_bytes(raw)
        assert verify_recording(path).state is state
    data, raw = made(whole[0], text)
    path.write_bytes(data)
    sidecar_path(path).write_bytes(raw)
    for companion, word in (
        (checkpoint_path(path), "checkpoint"),
        (signature_path(path), "signature"),
    ):
        for size, why in ((LIMIT, "cannot be read"), (LIMIT + 1, "far too long")):
            companion.write_bytes(b"x" * size)
            report = verify_recording(path)
            assert (report.state, why in report.reason, word in report.reason) == (
                CHANGED,
                True,
                True,
            )
        companion.unlink()
    with pytest.raises(RecordingError, match=r"none\.csv \(No such file or directory\)"):
        verify_recording(tmp_path / "none.csv")


STATES = [state for state in SealState if state in {
    "intact", "changed", "torn", "never-closed", "other-version"
}]  # fmt: skip


@pytest.mark.parametrize("state", STATES)
def test_what_a_signature_adds_to_each_state(state: SealState) -> None:
    """docs/verify.md, 8: only closed recordings are signed; a change found before stays as told;
    who signs vouches for the events of another version.
    """
    report = Report(state, reason="as told", digest="00", remarks=("one",), ended_s=None)
    good = signed().text().encode()
    assert signing.with_signature(report, None, "a.csv", "11") == report
    found = signing.with_signature(report, good, "a.csv", "11")
    if state in (INTACT, SealState.OTHER_VERSION):
        assert (found.state, found.reason) == (INTACT, "as told")
        assert (found.signed_by, found.signed_name) == (KEY.fingerprint, KEY.name)
        assert (found.signed_time, found.remarks) == (signed().time, ("one",))
        renamed = signing.with_signature(report, good, "b.csv", "11")
        assert renamed.reason == "as told; it was signed under the name a.csv"
        for other in (replace(report, digest="01"), report):
            of_other = signing.with_signature(
                other, good, "a.csv", "11" if other.digest == "01" else "12"
            )
            assert (of_other.state, of_other.signed_by) == (CHANGED, "")
            assert "belongs to another recording" in of_other.reason
        bad = signing.with_signature(report, b"x", "a.csv", "11")
        assert (bad.state, bad.reason) == (CHANGED, "the signature file cannot be read")
    elif state is CHANGED:
        assert found == report
    else:
        assert (found.state, found.signed_by) == (CHANGED, "")
        assert "its end was cut off" in found.reason
        assert "(as told)" in found.reason


@pytest.mark.parametrize("state", STATES)
def test_what_a_checkpoint_adds_to_each_state(state: SealState) -> None:
    """docs/verify.md, 6: it must be by the key that the sidecar names, and of rows that are there;
    a missing one is told where the end may be missing.
    """
    report, good = Report(state, reason="as told", rows=5), point().text().encode()

    def held(data: bytes | None, promised: str, **rows: str) -> Report:
        digests = {int(number[1:]): digest for number, digest in rows.items()}
        return checkpoint.held_against(report, data, promised, digests)

    if state is CHANGED:
        assert held(good, KEY.fingerprint, r5="00") == report
        return
    told = f"its first 5 rows were signed on {point().time} by key {KEY.fingerprint}"
    assert held(good, KEY.fingerprint, r5="00") == replace(report, checkpoint=told)
    missing = "no checkpoint by key mine lies beside it: its end may be missing"
    open_end = state in (SealState.TORN, SealState.NEVER_CLOSED)
    assert held(None, "mine") == (replace(report, checkpoint=missing) if open_end else report)
    assert held(None, "") == report
    for data, promised, digest, why in (
        (good, "mine", "00", "which it does not name"),
        (good, KEY.fingerprint, "01", "its first 5 rows are not those signed on"),
        (b"x", KEY.fingerprint, "00", "the checkpoint cannot be read"),
        (point(rows=6).text().encode(), KEY.fingerprint, "00", "6 rows were signed on"),
    ):
        found = held(data, promised, r5=digest)
        assert (found.state, why in found.reason) == (CHANGED, True), found.reason


def read(signal: Mapping[str, Any], raw: str, fluid_c: float) -> tuple[int, str]:
    """Return how many temperatures could be compared, and what is said."""
    bytes_ = RawBytes({"warmwatch:link": {"signals": [signal]}})
    said = bytes_.differs(fluid_c, raw)
    return bytes_.held, said


FRAME = {**J1939, "byte": 1, "bits": 8, "scale": 1.0, "offset": -40.0}


@pytest.mark.parametrize(
    ("pgn", "can_id", "held"),
    [
        (0xFEF8, "18FEF803", 1),
        (0xFEF8, "0CFEF803", 1),  # another priority, bits 26 to 28, is the same group
        (0xFEF8, "1CFEF803", 1),
        (0xFEF8, "19FEF803", 0),  # the data page, bit 24, makes it another
        (0xFEF8, "18FEF903", 0),
        (0xF004, "18F00400", 1),  # from F0 on the low byte belongs to the group
        (0xF004, "18F00500", 0),
        (0xEF00, "18EF03F9", 1),  # below F0 it is the address to which it goes
        (0x1EF00, "19EF03F9", 1),
        (0x1EF00, "18EF03F9", 0),
    ],
)
def test_a_parameter_group_is_told_from_its_identifier(pgn: int, can_id: str, held: int) -> None:
    """SAE J1939-21: priority, data page, PDU format and PDU specific of a 29-bit identifier."""
    assert read({**FRAME, "pgn": pgn}, f"{can_id} 7B", 83.0) == (held, "")


@pytest.mark.parametrize(
    ("byte", "first_bit", "bits", "payload", "fluid_c", "held"),
    [
        (1, 1, 8, "7B", 83.0, 1),
        (8, 1, 8, "000000000000007B", 83.0, 1),
        (2, 5, 4, "00A0", -30.0, 1),  # the upper half of byte 2
        (2, 1, 8, "7B", 83.0, 0),
        (1, 1, 16, "7B", 83.0, 0),
        (1, 1, 9, "7B", 83.0, 0),
    ],
)
def test_a_group_is_read_to_its_last_bit_and_not_beyond(
    byte: int, first_bit: int, bits: int, payload: str, fluid_c: float, held: int
) -> None:
    """SAE J1939-71 counts bytes and bits from 1; a frame that is too short says nothing."""
    rule = {**FRAME, "byte": byte, "first_bit": first_bit, "bits": bits}
    assert read(rule, f"18FEF803 {payload}", fluid_c) == (held, "")


DATABASE = {
    "name": "fluid_c", "frame": 0x123, "mask": 0x7FF, "scale": 1.0, "offset": -40.0, "unit": "C",
}  # fmt: skip


@pytest.mark.parametrize(
    ("order", "start", "bits", "payload", "held"),
    [
        ("big", 7, 8, "7B", 1),  # the highest bit of the first byte, up to the last of the frame
        ("big", 3, 12, "F07B", 1),
        ("big", 7, 16, "7B", 0),
        ("big", 7, 9, "7B", 0),
        ("little", 0, 8, "7B", 1),
        ("little", 0, 9, "7B", 0),
        ("little", 8, 8, "7B", 0),
    ],
)
def test_a_frame_of_a_database_is_read_to_its_last_bit(
    order: str, start: int, bits: int, payload: str, held: int
) -> None:
    """As such files count bits (checked against another library in test_when.py)."""
    rule = {**DATABASE, "order": order, "start": start, "bits": bits, "signed": False}
    assert read(rule, f"123 {payload}", 83.0) == (held, "")
    assert read(rule, f"124 {payload}", 83.0) == (0, "")


@pytest.mark.parametrize(
    ("changes", "raw", "held"),
    [
        ({}, "7E9 622A1704CE", 1),  # 1230 tenths less 40
        ({"length": 0}, "7E9 622A1704CE", 0),
        ({"first_byte": 1}, "7E9 622A17FF04CE", 1),
        ({"first_byte": 1}, "7E9 622A1704CE", 0),
        ({"record_length": 0}, "7E9 622A1704CE", 1),  # none that can be: all up to the end
        ({"record_length": "2"}, "7E9 622A1704CE", 1),
        ({"record_length": None}, "7E9 622A1704CE", 1),
        ({}, "7E9 7F2A1704CE", 0),  # not the answer of service 22
        ({}, "7E9 222A1704CE", 0),
        ({}, "7E9 622A1804CE", 0),
        ({}, "7E9 622A", 0),
        ({}, "7E9 622A17", 0),
        ({"service": 0x19}, "7E9 592A1704CE", 0),  # no service that reads a value
        ({}, "7E9 622A1704CE 7E8", 1),
    ],
)
def test_an_answer_is_read_by_its_service_and_identifier(
    changes: dict[str, Any], raw: str, held: int
) -> None:
    """ISO 14229-1, 11.2: 62, the identifier, the record; what is not that is not compared."""
    rule = {**SIGNAL, "record_length": 2, **changes}
    if changes.get("first_byte"):
        rule["record_length"] = 3
    assert read(rule, raw, 83.0) == (held, "")


@pytest.mark.parametrize(
    ("decimal", "raw", "held"),
    [("point", "194.0", 1), ("point", "194,0", 0), ("comma", "194,0", 1), ("comma", "194", 1)],
)
def test_a_comma_counts_only_where_the_rule_says_so(decimal: str, raw: str, held: int) -> None:
    """194 degF are 90 degC; where the point rules, a comma parts two numbers."""
    assert read({**TEXT, "decimal": decimal}, raw, 90.0) == (held, "")


def test_a_millionth_of_a_degree_is_no_difference() -> None:
    """That is what scaling may lose (ours); twice that is told."""
    celsius = {**TEXT, "unit": "C", "decimal": "point"}
    assert read(celsius, "0.000001", 0.0) == (1, "")
    assert "its bytes say 2e-06" in read(celsius, "0.000002", 0.0)[1]


def test_where_nothing_could_be_compared_nothing_is_said(tmp_path: Path) -> None:
    """Without a temperature there is no remark on bytes; other values are no temperature."""
    silent = [Reading(float(t), {"engine_rpm": 700.0}, raw="") for t in range(3)]
    assert verify_recording(recorded(tmp_path, [*silent, Tick(4.0)])).remarks == ()
    bytes_ = RawBytes({"warmwatch:link": {"signals": [{**SIGNAL, "name": "in_park"}]}})
    assert (bytes_.ruled, bytes_.differs(83.0, "")) == (False, "")
    assert (RawBytes({}).ruled, RawBytes({"warmwatch:link": "x"}).ruled) == (False, False)


def test_the_digest_of_a_file_is_sha_256_of_its_bytes(tmp_path: Path) -> None:
    """FIPS 180-2, appendix B.1: "abc"."""
    (tmp_path / "a").write_bytes(b"abc")
    assert verify.file_sha256(tmp_path / "a").startswith("ba7816bf8f01cfea414140de5dae2223")
