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
from warmwatch.outputs.proof.evidence import before, doubt_lines, place, read_parts, seal_lines
from warmwatch.outputs.proof.facts import Facts, ToldMark
from warmwatch.outputs.proof.visit import Visit
from warmwatch.recording.seal.report import SealState
from warmwatch.words.amounts import little_text
from warmwatch.words.catalogue import capital, clock, group, language, mark_name, phrase
from warmwatch.words.events import band_text, window_text
from warmwatch.words.proof import temperature_or_unknown
from warmwatch.words.reasons import condition_detail, condition_name
from warmwatch.words.verdict import SIGNS, verdict_remarks, verdict_sentence

MOST_ROWS = 40
MOST_WINDOWS = 12
CAUTIONS = ("burns", "gas", "service")
SYMBOLS = {ConditionState.MET: "✔", ConditionState.NOT_MET: "✘", ConditionState.UNKNOWN: "?"}
LEAST_ML = 0.5  # of what ran out by warming: less is not worth a line
Row = list[str]


def proof_page(visit: Visit) -> dict[str, Any]:
    """Return all texts of the proof: strings, and lists of rows of strings."""
    job, unit, check = visit.job, visit.job.unit, visit.check
    sign, sentence, remarks = proof_verdict(visit)
    return {
        "shop": [text for text in (job.shop.name, job.shop.address) if text],
        "invented": str(visit.decisive.link.get("invented", "")),
        "words": group("proof"),
        "language": language(),
        "title": phrase("proof.title-of", vehicle=job.vehicle or phrase("proof.not-named")),
        "subtitle": phrase("proof.subtitle", date=_date(visit.recordings[0])),
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
        "cautions": [phrase(f"proof.{code}") for code in CAUTIONS],
        "genuine": [line for facts in visit.recordings for line in seal_lines(visit, facts)],
        "proves": phrase("seal.proves"),
        "foot": ", ".join(facts.path.name for facts in visit.recordings),
        "digests": [f"{facts.path.name}: {facts.report.digest}" for facts in visit.recordings],
        "versions": phrase("proof.versions", recorded=_made_by(visit), page=__version__),
    }


def proof_verdict(visit: Visit) -> tuple[str, str, list[str]]:
    """Return sign, sentence and what must stand beside them, as page and command tell them."""
    job, verdict, troubles = visit.job, visit.verdict, list(_troubles(visit))
    sign = Sign.REMARK if troubles and verdict.sign is Sign.GOOD else verdict.sign
    sentence = verdict_sentence(verdict, job.band, job.unit)
    return SIGNS[sign], sentence, [*troubles, *verdict_remarks(verdict)]


def _troubles(visit: Visit) -> Iterator[str]:
    for facts in visit.recordings:
        report, name = facts.report, place(visit, facts) or phrase("proof.recording")
        if report.state is SealState.OTHER_VERSION:
            yield phrase("proof.other-version", recording=name, why=report.reason)
        elif report.state is not SealState.INTACT:
            yield phrase("proof.not-closed", recording=name, why=report.reason)
    if len({facts.visit for facts in visit.recordings}) > 1:
        yield phrase("proof.one-visit")


def at_text(visit: Visit, facts: Facts, elapsed_s: float) -> str:
    """Return an elapsed time, behind the recording's number where there are several."""
    before = place(visit, facts)
    at = clock(elapsed_s)
    return phrase("proof.at", recording=before, clock=at) if before else at


def _date(facts: Facts) -> str:
    wall_s = facts.wall_s(facts.trace.start_s)
    return phrase("proof.no-date") if wall_s is None else facts.zone.text(wall_s)


def _wall_clock(facts: Facts, elapsed_s: float) -> str:
    """Return the time of day as `22:55:10`, empty where it is not known."""
    wall_s = facts.wall_s(elapsed_s)
    return "" if wall_s is None else facts.zone.clock(wall_s)


def _about(visit: Visit) -> Iterator[Row]:
    job, work = visit.job, visit.job.work
    yield [phrase("proof.vehicle"), job.vehicle or phrase("proof.not-named")]
    yield from _told_rows(
        plate=work.plate, odometer=work.odometer, order=work.order, **{"fluid-kind": work.fluid}
    )
    yield [phrase("proof.check-temperature"), band_text(job.band, job.unit)]
    yield [phrase("proof.taken-from"), job.band_source or phrase("proof.not-told")]
    yield [phrase("proof.method"), job.method or phrase("proof.not-told")]
    for facts in visit.recordings:
        label = capital(place(visit, facts)) or phrase("proof.recorded")
        length = clock(facts.end_s - facts.trace.start_s)
        yield [label, phrase("proof.for", date=_date(facts), length=length)]


def _work(visit: Visit) -> Iterator[Row]:
    work = visit.job.work
    return _told_rows(parts=work.parts, torques=work.torques, **{"next-check": work.next_check})


def _told_rows(**texts: str) -> Iterator[Row]:
    return ([phrase(f"proof.{code}"), text] for code, text in texts.items() if text)


def _captions(visit: Visit) -> list[str]:
    if len(visit.recordings) == 1:
        return [""]
    return [
        phrase(
            "proof.caption",
            recording=capital(place(visit, facts)),
            date=_date(facts) or phrase("proof.no-date"),
        )
        for facts in visit.recordings
    ]


def _condition(condition: Condition, unit: str) -> Row:
    state, why = condition.state, condition_detail(condition, unit)
    return [SYMBOLS[state], condition_name(condition.name), phrase(f"proof.state-{state}"), why]


def _check_rows(visit: Visit, check: Check) -> Iterator[Row]:
    unit, facts = visit.job.unit, visit.decisive

    def moment(code: str, at_s: float, told: str) -> Row:
        return [phrase(f"proof.{code}"), clock(at_s), _wall_clock(facts, at_s), told]

    def fact(code: str, told: str) -> Row:
        return [phrase(f"proof.{code}"), told, "", ""]

    yield moment("plug-out", check.out_s, temperature_or_unknown(check.out_c, unit))
    if check.drip_s is not None:
        yield moment("first-drip", check.drip_s, temperature_or_unknown(check.drip_c, unit))
    if check.in_s is not None:
        yield moment("plug-in", check.in_s, temperature_or_unknown(check.in_c, unit))
        yield fact("out-for", clock(check.in_s - check.out_s))
    if check.set_s is not None:
        yield moment("called-set", check.set_s, "")
    if check.flow is not None:
        yield fact("flow", mark_name(check.flow))
    if check.doubtful:
        yield fact("doubtful", str(check.doubtful))
    yield from _by_warming(visit, check)


def _by_warming(visit: Visit, check: Check) -> Iterator[Row]:
    drip, unit = by_warming(visit.fluid, check.out_c, None), visit.job.unit
    if drip.ml_per_c is None:
        return
    per_degree = drip.ml_per_c if unit == "C" else drip.ml_per_c / 1.8
    per = phrase(
        "proof.per-degree", amount=little_text(per_degree, visit.fluid, 1), degree=f"°{unit}"
    )
    yield [phrase("proof.expands"), per, "", ""]
    from_c = check.out_c if check.drip_c is None else check.drip_c
    over = overrun_ml(visit.fluid, from_c, check.in_c)
    if over is not None and over >= LEAST_ML:
        since = phrase(f"proof.since-{'plug-out' if check.drip_c is None else 'drip'}")
        about = phrase("proof.about", amount=little_text(over, visit.fluid))
        yield [phrase("proof.run-out"), about, "", since]


def _earlier(visit: Visit) -> Iterator[str]:
    from warmwatch.core.level.verdict import judge

    unit, band = visit.job.unit, visit.job.band
    for facts in visit.recordings:
        for check in facts.checks:
            if check is not visit.check:
                at = at_text(visit, facts, check.out_s)
                sentence = verdict_sentence(judge([check], band), band, unit)
                yield phrase("proof.before", recording=at, text=sentence)


def _band_windows(visit: Visit) -> Iterator[str]:
    for facts in visit.recordings:
        yield from _windows(visit, facts, facts.windows, "never-inside")
    if beyond := sum(w.beyond for facts in visit.recordings for w in facts.windows):
        yield phrase("proof.beyond", count=beyond, confirm=visit.job.confirm_s)


def _windows(visit: Visit, facts: Facts, windows: Sequence[Window], none: str) -> Iterator[str]:
    if not windows:
        yield before(visit, facts, phrase(f"proof.{none}"))
        return
    shown = windows[-MOST_WINDOWS:]
    if len(shown) < len(windows):
        earlier = phrase("proof.earlier-ones", count=len(windows) - len(shown))
        yield before(visit, facts, earlier)
    for window in shown:
        text = phrase("proof.inside", window=window_text(window, visit.job.unit))
        yield before(visit, facts, text)


def _drain(visit: Visit) -> Iterator[str]:
    bands = [facts.job.drain_band for facts in visit.recordings if facts.job.drain_band]
    if not bands:
        return
    yield phrase("proof.drain-range", band=band_text(bands[0], visit.job.unit))
    for facts in visit.recordings:
        if facts.drain_windows or len(visit.recordings) == 1:
            yield from _windows(visit, facts, facts.drain_windows, "never-inside-drain")


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
        rows.append(["…", "", "", "", phrase("proof.more-marks", count=len(told) - len(rows))])
    return rows


def _mark_row(visit: Visit, facts: Facts, one: ToldMark) -> Row:
    mark = one.mark
    fluid = temperature_or_unknown(one.fluid_c, visit.job.unit)
    at = at_text(visit, facts, mark.elapsed_s)
    name = mark_name(mark.name)
    name = phrase("proof.taken-back", mark=name) if one.withdrawn else name
    return [at, _wall_clock(facts, mark.elapsed_s), name, fluid, mark.note]


def _made_by(visit: Visit) -> str:
    unknown = phrase("seal.not-known")
    versions = (facts.versions.get("warmwatch", unknown) for facts in visit.recordings)
    return ", ".join(dict.fromkeys(str(version) for version in versions))
