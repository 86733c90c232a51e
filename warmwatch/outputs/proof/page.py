"""The words of the proof, as plain data for the page template."""

from collections.abc import Iterator, Sequence
from typing import Any

from warmwatch._version import __version__
from warmwatch.core.band import Window
from warmwatch.core.level.check import Check
from warmwatch.core.level.conditions import Condition, ConditionState
from warmwatch.core.level.drip import by_warming, overrun_ml
from warmwatch.core.level.verdict import Sign
from warmwatch.core.reading import MarkName
from warmwatch.outputs.proof.amounts import balance_lines, ledger_heads, ledger_row
from warmwatch.outputs.proof.evidence import doubt_lines, read_parts, seal_lines
from warmwatch.outputs.proof.facts import Facts, Told
from warmwatch.outputs.proof.visit import Visit
from warmwatch.recording.seal.report import SealState
from warmwatch.words.events import band_text, clock, window_text
from warmwatch.words.proof import PROVES, temperature_or_unknown
from warmwatch.words.reasons import condition_detail, condition_name
from warmwatch.words.verdict import SIGNS, verdict_remarks, verdict_sentence

MOST_ROWS = 40
MOST_WINDOWS = 12
_BURNS = (
    "Fluid and metal at check temperature burn at a touch: fluid at 80 to 95 °C (176 to 203 °F) is "
    "far above the 68 °C (154 °F) at which a published chart for hot water gives about one second "
    "to a serious burn."
)
_GAS = (
    "A running engine makes carbon monoxide; a vehicle can move or fall: open air or extraction, "
    "wheels chocked, a lift or stands made for it."
)
_SERVICE = (
    "The service information of the vehicle comes before anything said here. Old fluid is "
    "disposed of by local rules."
)
CAUTIONS = (_BURNS, _GAS, _SERVICE)
_SYMBOLS = {ConditionState.MET: "✔", ConditionState.NOT_MET: "✘", ConditionState.UNKNOWN: "?"}
Row = list[str]


def proof_page(visit: Visit) -> dict[str, Any]:
    """Return all texts of the proof: strings, and lists of rows of strings."""
    job, unit, check = visit.job, visit.job.unit, visit.check
    sign, sentence, remarks = proof_verdict(visit)
    return {
        "shop": [text for text in (job.shop.name, job.shop.address) if text],
        "invented": str(visit.decisive.link.get("invented", "")),
        "vehicle": job.vehicle or "not named",
        "date": _date(visit.recordings[0]) or "date not known",
        "sign": sign,
        "verdict": sentence,
        "remarks": remarks,
        "about": list(_about(visit)),
        "captions": _captions(visit),
        "conditions": [_condition(c, unit) for c in (check.conditions if check else ())],
        "check": [] if check is None else list(_check_rows(visit, check)),
        "earlier": list(_earlier(visit)),
        "windows": list(_band_windows(visit)),
        "drain": list(_drain(visit)),
        "work": list(_work(visit)),
        "mechanic": job.shop.mechanic,
        "notes": job.notes,
        "ledger": [ledger_row(visit, entry) for entry in visit.fluid.ledger],
        "ledger_heads": ledger_heads(visit),
        "balance": balance_lines(visit),
        "marks": _marks(visit),
        "doubts": [line for facts in visit.recordings for line in doubt_lines(visit, facts)],
        "read": [part for facts in visit.recordings for part in read_parts(visit, facts)],
        "cautions": list(CAUTIONS),
        "genuine": [line for facts in visit.recordings for line in seal_lines(visit, facts)],
        "proves": PROVES,
        "foot": ", ".join(facts.path.name for facts in visit.recordings),
        "digests": [f"{facts.path.name}: {facts.report.digest}" for facts in visit.recordings],
        "versions": f"Recorded by warmwatch {_made_by(visit)}, page by warmwatch {__version__}.",
    }


def proof_verdict(visit: Visit) -> tuple[str, str, list[str]]:
    """Return sign, sentence and what must stand beside them, as page and command tell them."""
    job, verdict, troubles = visit.job, visit.verdict, list(_troubles(visit))
    sign = Sign.REMARK if troubles and verdict.sign is Sign.GOOD else verdict.sign
    sentence = verdict_sentence(verdict, job.band, job.unit)
    return SIGNS[sign], sentence, [*troubles, *verdict_remarks(verdict)]


def _troubles(visit: Visit) -> Iterator[str]:
    for facts in visit.recordings:
        report, name = facts.report, place(visit, facts) or "recording"
        if report.state is SealState.OTHER_VERSION:
            yield f"Of the {name}, {report.reason}."
        elif report.state is not SealState.INTACT:
            yield (
                f"The {name} was not closed properly, so its end may be missing: {report.reason}."
            )
    if len({facts.visit for facts in visit.recordings}) > 1:
        yield "That these recordings are of one visit was said when this proof was made."


def place(visit: Visit, facts: Facts) -> str:
    """Return which of several recordings it is, empty where there is one."""
    if len(visit.recordings) == 1:
        return ""
    return f"recording {visit.recordings.index(facts) + 1}"


def at_text(visit: Visit, facts: Facts, elapsed_s: float) -> str:
    """Return an elapsed time, behind the recording's number where there are several."""
    before = place(visit, facts)
    return f"{before}, {clock(elapsed_s)}" if before else clock(elapsed_s)


def _date(facts: Facts) -> str:
    wall_s = facts.wall_s(facts.start_s)
    return "" if wall_s is None else facts.zone.text(wall_s)


def _wall_clock(facts: Facts, elapsed_s: float) -> str:
    """Return the time of day as `22:55:10`, empty where it is not known."""
    wall_s = facts.wall_s(elapsed_s)
    return "" if wall_s is None else facts.zone.clock(wall_s)


def _about(visit: Visit) -> Iterator[Row]:
    job = visit.job
    yield ["Vehicle", job.vehicle or "not named"]
    for label, text in (
        ("Plate", job.work.plate),
        ("Odometer", job.work.odometer),
        ("Order", job.work.order),
        ("Fluid", job.work.fluid),
    ):
        if text:
            yield [label, text]
    yield ["Check temperature", band_text(job.band, job.unit)]
    yield ["Taken from", job.band_source or "not told"]
    yield ["Way of warming up", job.method or "not told"]
    for facts in visit.recordings:
        label = place(visit, facts).capitalize() or "Recorded"
        length = clock(facts.end_s - facts.start_s)
        yield [label, f"{_date(facts) or 'date not known'}, for {length}"]


def _work(visit: Visit) -> Iterator[Row]:
    work = visit.job.work
    for label, text in (
        ("Parts", work.parts),
        ("Torques", work.torques),
        ("Next to be checked", work.next_check),
    ):
        if text:
            yield [label, text]


def _captions(visit: Visit) -> list[str]:
    if len(visit.recordings) == 1:
        return [""]
    return [f"{place(visit, facts).capitalize()}, {_date(facts)}" for facts in visit.recordings]


def _condition(condition: Condition, unit: str) -> Row:
    state, why = condition.state, condition_detail(condition, unit)
    return [_SYMBOLS[state], condition_name(condition.name), str(state), why]


def _check_rows(visit: Visit, check: Check) -> Iterator[Row]:
    unit, facts = visit.job.unit, visit.decisive

    def moment(name: str, at_s: float, told: str) -> Row:
        return [name, clock(at_s), _wall_clock(facts, at_s), told]

    yield moment("plug out", check.out_s, temperature_or_unknown(check.out_c, unit))
    if check.drip_s is not None:
        yield moment("first drip", check.drip_s, temperature_or_unknown(check.drip_c, unit))
    if check.in_s is not None:
        yield moment("plug in", check.in_s, temperature_or_unknown(check.in_c, unit))
        yield ["plug out for", clock(check.in_s - check.out_s), "", ""]
    if check.set_s is not None:
        yield moment("level called set", check.set_s, "")
    if check.flow is not None:
        yield ["told of the plug last", str(check.flow).replace("-", " "), "", ""]
    if check.doubtful:
        yield ["readings not believed", str(check.doubtful), "", ""]
    yield from _by_warming(visit, check)


def _by_warming(visit: Visit, check: Check) -> Iterator[Row]:
    drip, unit = by_warming(visit.fluid, check.out_c, None), visit.job.unit
    if drip.ml_per_c is None:
        return
    per_degree = drip.ml_per_c if unit == "C" else drip.ml_per_c / 1.8
    yield ["the fluid expands by", f"{per_degree:.1f} mL per °{unit}", "", ""]
    from_c = check.out_c if check.drip_c is None else check.drip_c
    over = overrun_ml(visit.fluid, from_c, check.in_c)
    if over is not None:
        since = "plug out" if check.drip_c is None else "the first drip"
        yield ["run out by warming", f"about {over:.0f} mL", "", f"since {since}"]


def _earlier(visit: Visit) -> Iterator[str]:
    from warmwatch.core.level.verdict import judge

    unit, band = visit.job.unit, visit.job.band
    for facts in visit.recordings:
        for check in facts.checks:
            if check is not visit.check:
                at = at_text(visit, facts, check.out_s)
                yield f"{at}: {verdict_sentence(judge([check], band), band, unit)}"


def _band_windows(visit: Visit) -> Iterator[str]:
    job = visit.job
    for facts in visit.recordings:
        yield from _windows(visit, facts, facts.windows, "Never confirmed inside the band.")
    if beyond := sum(w.beyond for facts in visit.recordings for w in facts.windows):
        yield (
            f"(Readings that jittered over an edge in these times: {beyond}, none for as long as "
            f"{job.confirm_s:g} s. The sentence on top goes by every single reading.)"
        )


def _windows(visit: Visit, facts: Facts, windows: Sequence[Window], none: str) -> Iterator[str]:
    before = f"{place(visit, facts).capitalize()}: " if len(visit.recordings) > 1 else ""
    if not windows:
        yield f"{before}{none}"
        return
    shown = windows[-MOST_WINDOWS:]
    if len(shown) < len(windows):
        yield f"{before}{len(windows) - len(shown)} earlier ones in the attached recording."
    yield from (f"{before}Inside {window_text(window, visit.job.unit)}." for window in shown)


def _drain(visit: Visit) -> Iterator[str]:
    band = visit.job.drain_band
    if band is None:
        return
    yield f"Range for draining warm: {band_text(band, visit.job.unit)}."
    for facts in visit.recordings:
        if facts.drain_windows or len(visit.recordings) == 1:
            none = "Never confirmed inside it."
            yield from _windows(visit, facts, facts.drain_windows, none)


def _marks(visit: Visit) -> list[Row]:
    """Return the marks as rows; of too many, notes are left out before anything else."""
    told = [
        (number, one)
        for number, facts in enumerate(visit.recordings)
        for one in facts.told
        if one.mark.name != MarkName.ACKNOWLEDGE
    ]
    acts = [pair for pair in told if pair[1].mark.name != MarkName.NOTE][-MOST_ROWS:]
    notes = [pair for pair in told if pair[1].mark.name == MarkName.NOTE]
    kept = acts + notes[len(notes) - max(0, min(len(notes), MOST_ROWS - len(acts))) :]
    kept.sort(key=lambda pair: (pair[0], pair[1].mark.elapsed_s))
    rows = [_mark_row(visit, visit.recordings[number], one) for number, one in kept]
    if len(rows) < len(told):
        rows.append(["…", "", "", "", f"{len(told) - len(rows)} more in the attached recording"])
    return rows


def _mark_row(visit: Visit, facts: Facts, one: Told) -> Row:
    mark = one.mark
    fluid = temperature_or_unknown(one.fluid_c, visit.job.unit)
    at = at_text(visit, facts, mark.elapsed_s)
    name = str(mark.name).replace("-", " ") + (" (taken back)" if one.withdrawn else "")
    return [at, _wall_clock(facts, mark.elapsed_s), name, fluid, mark.note]


def _made_by(visit: Visit) -> str:
    versions = (facts.versions.get("warmwatch", "not known") for facts in visit.recordings)
    return ", ".join(dict.fromkeys(str(version) for version in versions))
