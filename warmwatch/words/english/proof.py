"""The proof, and what `verify` and `jobs` say of recordings and proofs."""

SEAL = {
    "proves": (
        "A good digest chain shows that the recording is as warmwatch wrote it; a good signature "
        "also that nobody without the key altered it afterwards. Neither shows that the sensor "
        "told the truth, nor that the marks were set at the right moment."
    ),
    "at-row": " at row {row}",
    "head": "{file}: {state}{where}.",
    "intact": "intact",
    "changed": "CHANGED",
    "torn": "TORN at the end",
    "never-closed": "whole as far as it goes, but never closed",
    "other-key": "NOT SIGNED BY THAT KEY",
    "other-version": "whole, but its events are not checked",
    "no-time-stamp": "WITHOUT A TIME STAMP BY THAT AUTHORITY",
    "not-in-log": "NOT AS THAT LOG OF THE SHOP HAS IT",
    "page-unsigned": "recording signed, PAGE NOT",
    "page-not-made-again": "recording whole, page NOT CHECKED",
    "rows": "  {rows} rows; events worked out again: {events}.",
    "rows-unchecked": "  {rows} rows; their events were not worked out again.",
    "told": "  Added by the maker of the page, in no recording: {told}.",
    "signed": "  Signed by key {key}{name}{when}.",
    "name": " ({name})",
    "when": " on {time}",
    "not-compared": (
        "  ANYBODY CAN HAVE A KEY, under any name: nothing was given to compare this one with. Get "
        "the shop's public key by another way than this file, and give it with --key."
    ),
    "bus-intact": "  The bus log {name} beside it is as it was kept.",
    "bus-changed": "  THE BUS LOG {name} WAS CHANGED since it was kept: do not go by it.",
    "bus-missing": "  A bus log {name} was kept; it does not lie beside the recording.",
    "not-signed": "  Not signed: somebody who knows the format could have made all of it.",
    "vehicle": "vehicle",
    "recorded": "recorded",
    "check-temperature": "check temperature",
    "plug-out": "with the plug out",
    "level": "level",
    "not-named": "not named",
    "not-known": "not known",
    "band": "{band}, {source}",
    "source": "taken from: {source}",
    "no-source": "source not given",
    "fluid-at": "fluid at {span}",
}
JOBS = {
    "not-verified": "Not verified: each line repeats what stands at the end of its recording.",
    "none": "No recording in {folder}.",
    "line": "{when}  {labels}{band}{length}  [{file}]",
    "no-time": "time not known",
    "undated": "date not known, written {written}",
    "no-label": "no label",
    "trouble": "    {file}: {why}",
    "never-closed": "never closed, or torn: see `warmwatch verify`",
    "changed": "CHANGED: see `warmwatch verify`",
}
PROOF = {
    "title": "Proof of check temperature",
    "title-of": "Proof of check temperature: {vehicle}",
    "subtitle": "Transmission fluid level, {date}",
    "page": "page",
    "page-of": "of",
    "demonstration": "Demonstration.",
    "alt": "Fluid temperature against time with the check temperature band.",
    "conditions": "Conditions while the plug was out",
    "conditions-note": (
        "What is not known is not shown as met. Reasons follow SAE J1939 SPN 3026 where it has "
        "them."
    ),
    "check": "The level check",
    "windows": "Time inside the band",
    "drain": "Draining warm",
    "notes": "Notes",
    "work": "The work",
    "earlier": "Earlier checks",
    "fluid": "Fluid that came out and went in",
    "place-and-date": "place and date",
    "signature": "signature",
    "marks": "What the mechanic marked",
    "marks-note": ("Times are elapsed time, min:s or h:min:s; the clock is that of the computer."),
    "doubts": "Gaps and doubtful readings",
    "read": "How it was read",
    "cautions": "Cautions",
    "genuine": "Is it genuine?",
    "to-check": "To check, type {command} and the name of this PDF or of a recording.",
    "attached": "The recordings and their companions are attached to this PDF.",
    "digests": "Digests",
    "column-sign": "sign",
    "column-condition": "condition",
    "column-worst": "worst state",
    "column-because": "because",
    "column-what": "what",
    "column-time": "time",
    "column-clock": "clock",
    "column-fluid": "fluid",
    "column-mark": "mark",
    "column-note": "note",
    "column-edge": "entry or exit",
    "column-bytes": "bytes read (hex)",
    "state-met": "met",
    "state-not met": "not met",
    "state-not known": "not known",
    "burns": (
        "Fluid and metal at check temperature burn at a touch: fluid at 80 to 95 °C (176 to "
        "203 °F) is far above the 68 °C (154 °F) at which a published chart for hot water gives "
        "about one second to a serious burn."
    ),
    "gas": (
        "A running engine makes carbon monoxide; a vehicle can move or fall: open air or "
        "extraction, wheels chocked, a lift or stands made for it."
    ),
    "service": (
        "The service information of the vehicle comes before anything said here. Old fluid is "
        "disposed of by local rules."
    ),
    "vehicle": "Vehicle",
    "plate": "Plate",
    "odometer": "Odometer",
    "order": "Order",
    "fluid-kind": "Fluid",
    "check-temperature": "Check temperature",
    "taken-from": "Taken from",
    "method": "Way of warming up",
    "recorded": "Recorded",
    "not-named": "not named",
    "not-told": "not given",
    "no-date": "date not known",
    "for": "{date}, for {length}",
    "parts": "Parts",
    "torques": "Torques",
    "next-check": "Next to be checked",
    "recording": "recording",
    "recording-number": "recording {number}",
    "at": "{recording}, {clock}",
    "caption": "{recording}, {date}",
    "before": "{recording}: {text}",
    "other-version": "Of the {recording}, {why}.",
    "not-closed": ("The {recording} was not closed properly, so its end may be missing: {why}."),
    "clock-moved": (
        "{clock} {why}. Times of day are counted from the first reading, so they do not jump."
    ),
    "others": (
        "These recordings of the same visit are not in this proof: {files}. To include them, name "
        "them all."
    ),
    "one-visit": "The maker of this proof put these recordings together as one visit.",
    "plug-out": "plug out",
    "first-drip": "first drip",
    "plug-in": "plug in",
    "out-for": "plug out for",
    "called-set": "level marked as set",
    "flow": "last mark at the plug",
    "doubtful": "readings not believed",
    "expands": "the fluid expands by",
    "per-degree": "{amount} per {degree}",
    "run-out": "run out by warming",
    "about": "about {amount}",
    "since-plug-out": "since plug out",
    "since-drip": "since the first drip",
    "never-inside": "Never confirmed inside the band.",
    "never-inside-drain": "Never confirmed inside it.",
    "beyond": (
        "(Readings that jittered over an edge in these times: {count}, none for as long as "
        "{confirm} s. The sentence on top goes by every single reading.)"
    ),
    "earlier-ones": "{count} earlier ones in the attached recording.",
    "inside": "Inside {window}.",
    "drain-range": "Range for draining warm: {band}.",
    "more-marks": "{count} more in the attached recording",
    "taken-back": "{mark} (taken back)",
    "versions": "Recorded by warmwatch {recorded}, page by warmwatch {page}.",
    "counts": "{readings} readings, {doubtful} not believed; losses of signal: {gaps}.",
    "event": "{clock}: {event}",
    "more-events": "… {count} more in the attached recording.",
    "none": "none",
    "earlier-edges": "{count} earlier ones in the attached recording",
    "link": "link",
    "read-as": "fluid temperature is read as",
    "signed": "Signed by key {key}{name} on {time}.",
    "not-signed": "The recording is not signed.",
    "events-differ": (
        "The events in the recording are {events}. This page says what this version makes of the "
        "readings."
    ),
    "sealed": "This PDF is sealed, but not signed.",
    "signed-pdf": "This PDF is signed by key {key}{name}.",
    "log-line": "In the shop's log: line {lines} of {size}, head {head}.",
    "log-lines": "In the shop's log: lines {lines} of {size}, head {head}.",
    "no-font": (
        "No font on this computer has these letters, so they show as boxes: {letters} The attached "
        "recording has them."
    ),
    "file-source": "The recording: every reading, mark and event",
    "file-sidecar": "What the recording is about",
    "file-signature": "The recording's signature",
    "file-checkpoint": "How far it was signed",
    "file-anchor": "Its time stamp",
    "file-making": "How this page was made, so that it can be made again",
    "made": "Proof: {path}",
}
GROUPS = {"seal": SEAL, "jobs": JOBS, "proof": PROOF}
