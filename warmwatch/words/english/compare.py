"""What a comparison of recordings says."""

COMPARE = {
    "idle": "idling",
    "idling": "idling",
    "drive": "driving",
    "driving": "driving",
    "phase-idle": "idle",
    "phase-driving": "driving",
    "phase-loaded": "loaded",
    "runs-of": "the {name} runs",
    "runs-no-label": "the runs without a label",
    "runs": "{n} runs",
    "runs-one": "{n} run",
    "pair": "{n} and {m} runs",
    "not-reached": (
        "{Subject} had not reached the band {band} when the recording ended in {not_reached} of "
        "{runs}."
    ),
    "one-group": "There is only one group, {name}: nothing to compare.",
    "sooner": "{Subject} reached the band {amount} min sooner than {other} ({seen}).",
    "later": "{Subject} reached the band {amount} min later than {other} ({seen}).",
    "less-time": "{Subject} took {amount} min less {span} than {other} ({seen}).",
    "more-time": "{Subject} took {amount} min longer {span} than {other} ({seen}).",
    "less-heat": (
        "{Subject} heated the fluid by {amount} {kind} less than {other} at the same temperature "
        "({seen})."
    ),
    "more-heat": (
        "{Subject} heated the fluid by {amount} {kind} more than {other} at the same temperature "
        "({seen})."
    ),
    "shorter-stay": (
        "The stay in the band was {amount} min shorter after {subject} than after {other} ({seen})."
    ),
    "longer-stay": (
        "The stay in the band was {amount} min longer after {subject} than after {other} ({seen})."
    ),
    "what-band": "the time to the band",
    "what-span": "the time {span}",
    "what-rate": "the heating rate",
    "what-stay": "the stay in the band",
    "untold": (
        "These runs show no sure difference between {subject} and {other} in {what} ({middle}, "
        "95 % interval {low} to {high} {kind}, {pair})."
    ),
    "seen": "95 % interval {low} to {high} {kind}, {pair}{adjusted}",
    "adjusted": "; {what} temperature taken into account, without that {plain} {kind}",
    "adjusted-against": (
        "; {what} temperature taken into account, without that {plain} {kind} the other way"
    ),
    "start_c": "start",
    "ambient_c": "ambient",
    "and": "{first} and {second}",
    "numbers": "no one two three four five six seven eight nine ten",
    "few-each": "{Number} runs each of {a} and {b} are too few to compare {what}.",
    "few-each-one": "{Number} run each of {a} and {b} is too few to compare {what}.",
    "few": "{Number} runs of {a} are too few to compare {what} with that of {b}.",
    "few-one": "{Number} run of {a} is too few to compare {what} with that of {b}.",
    "few-both": "One run of {a} and two of {b} are too few to compare {what}.",
    "few-groups": "Groups with too few runs to compare them with others: {names}.",
    "group-count": "{name} ({n})",
    "stays-some": (
        "How long the fluid stays in the band after each way cannot be compared: only {ended} of "
        "{begun} stays were recorded to the end."
    ),
    "stays-some-one": (
        "How long the fluid stays in the band after each way cannot be compared: only {ended} of "
        "{begun} stays was recorded to the end."
    ),
    "stays-none": (
        "How long the fluid stays in the band after each way cannot be compared: all recordings "
        "that reached it end inside it."
    ),
}
TABLE = {
    "runs": "runs",
    "head": "{words}, {kind}",
    "difference-kind": "{degree} degrees",
    "range": "{low}-{high}",
    "range-below": "{low} to {high}",
    "span": "{low} to {high}",
    "start_c": "start",
    "ambient_c": "ambient",
    "rate-at": "heating at {level}",
    "rate_span_c_per_min": "heating, {span}",
    "rate_model_c_per_min": "heating, by the model",
    "span_min": "from {span}",
    "time_to_band_min": "from {start} to the band",
    "window_min": "stay in the band",
    "window_at_least_min": "stay, at least",
    "overshoot_c": "beyond the top",
    "plug_out_rate_c_per_min": "drift, plug out",
    "plug_out_range_c": "spread, plug out",
    "coolant_peak_c": "coolant at most",
    "legend": "Median (lowest-highest) of the runs; [n] where only n runs have the figure.",
}
DIFFERENCES = {
    "head": "{words}, {kind}: mean difference (95 % interval)",
    "line": "  {a} less {b}",
    "adjusted": "  adjusted {interval}{few}",
    "not-possible": "not possible",
    "few": "  too few: {a} and {b} runs",
    "interval": "{middle} ({low} to {high})",
    "alike": "{middle} (the runs are all alike)",
    "how": "Adjusted: for start and ambient temperature by a straight line, within each vehicle.",
    "many": "Of twenty such intervals about one misses by chance: --against METHOD asks for fewer.",
}
REPORT = {
    "head": "Recordings: {found} found, {used} used. Band {band}; common span {low} to {high}.",
    "head-no-span": "Recordings: {found} found, {used} used. Band {band}; no span in common.",
    "holds": (
        "Holds against the brakes: {n} in {runs}, the longest {longest} s; {over} still held at "
        "the limit, {short} began before the rest was over."
    ),
    "none": "none",
    "over-none": "none was",
    "over-one": "1 was",
    "over": "{n} were",
    "caution": "Caution: {text}",
    "left-out": "Left out:",
    "used": "Used, with these notes:",
    "more-lines": "  and {n} lines more; all are in --json",
    "note": "  {names}: {text}",
    "more-names": "{names} and {n} more",
    "next": "Next: add {plot}--json for every figure.",
    "next-plot": "--plot compare.png for the picture, ",
    "count": "{done} of {total} recordings read",
    "table": "Table: {path}",
    "picture": "Picture: {path}",
}
WITHIN = {
    "idle": "idling",
    "driving": "driving",
    "loaded": "holds and rests",
    "several": (
        "{n} of the recordings hold several ways of running: compare one alone, or all --by phase, "
        "to see their rates at the same temperature."
    ),
    "more-heat": "The more heat is still being made, the shorter the stay in the band.",
    "after-holds": (
        "After the last hold the fluid still rose by {rise} {degree} within {minutes} min: the "
        "reading runs behind the heat."
    ),
    "untold": (
        "Within {run}, at {at}, {a} and {b} show no sure difference ({middle} "
        "{degree}/min, 95 % interval {low} to {high})."
    ),
    "less": (
        "Within {run}, at {at}, the fluid gained {middle} {degree}/min less with {a} than with "
        "{b} (95 % interval {low} to {high})."
    ),
    "more": (
        "Within {run}, at {at}, the fluid gained {middle} {degree}/min more with {a} than with "
        "{b} (95 % interval {low} to {high})."
    ),
    "rate": "{rate} {degree}/min with {way}",
    "rates": (
        "The rates by themselves, {rates}, are less sure than their difference: a transmission is "
        "more than one mass."
    ),
    "stay": "{minutes} min with {way}",
    "stay-long": "more than half an hour with {way}",
    "stays": (
        "By the model a stay in the band {band} lasts {stays}, as long as that goes on. This is "
        "calculated for the middle of the band, not seen."
    ),
    "carried": (
        "{Way} was seen from {low} to {high} {degree}; its rate at {at} is calculated with "
        "the shared loss term."
    ),
}
NOTES = {
    "no-recording": "is not a recording",
    "not-looked-into": "cannot be looked into ({why})",
    "folder-link": "is a link to a folder, which is not followed: name that folder, too",
    "broken-link": "is a link to a file that is not there",
    "no-file": "is not a file",
    "fits-none": "fits no recording: --label {label} sets nothing",
    "other-vehicle": "is of another vehicle ({label})",
    "other-vehicle-unlabelled": "is of another vehicle (no label)",
    "other-method": "is of another method ({label})",
    "other-method-unlabelled": "is of another method (no label)",
    "twin": "is the same recording as {twin}, counted once",
    "twin-other-sidecar": ("is the same recording as {twin}, counted once; their sidecars differ"),
    "replay": (
        "holds the same readings as {twin} (a replay, or a simulation run twice), counted once"
    ),
    "replay-other-labels": (
        "holds the same readings as {twin} (a replay, or a simulation run twice), counted once; "
        "their labels differ, that of {twin} counts"
    ),
    "other-sidecar": "its sidecar is not the one it was recorded with (see warmwatch verify)",
    "no-good-reading": "it holds no good reading of the fluid",
    "looks-fahrenheit": "its values ({start} to {peak} for the fluid) look like °F read as °C",
    "changed": "it was changed at row {row} (see warmwatch verify)",
    "never-closed": "it was never closed; used as far as it goes",
    "same-warm-up": "holds the same warm-up as {twin}, counted once",
    "moves-too-little": "the fluid moves too little in it to teach anything",
    "made-for": "was made for {made}; judged here by {band}",
    "no-label": "has no method label; set one with --label PATTERN=METHOD",
    "vehicles": "{n} vehicles",
    "mixed": (
        "the plain figures mix them; the adjusted differences compare within each vehicle; "
        "choose one with --vehicle LABEL"
    ),
    "never-both": "no vehicle was recorded with both: the vehicles themselves may be what differs",
    "not-in": "not in {names}: {why}",
    "carried": (
        "no {what} was seen with both: the adjusted difference rests on a straight line between "
        "them"
    ),
    "start_c": "start temperature",
    "ambient_c": "ambient temperature",
}
MISSING = {
    "coolant-not-read": "coolant was not read",
    "ambient-not-read": "ambient was not read",
    "no-common-span": "there is no common span",
    "begins-above": "begins at {start}, above {level}",
    "not-reaching": "does not reach {level}",
    "passed-unseen": "passed {level} unseen, in a gap",
    "begins-in-band": "begins in the band or above it",
    "band-not-reached": "did not reach the band in {minutes} min (highest {top})",
    "below-band": "did not reach the band",
    "band-entered-unseen": "entered the band unseen, in a gap",
    "not-seen": "not seen",
    "gap-unknown": "a gap of unknown length in the span ({why})",
    "gap-jump": "the reading jumped",
    "gap-silent": "no good reading",
    "gap-resting": "a rest",
    "gap-time-behind": "the readings' time ran behind",
    "gap-known": "a gap of {seconds} s in the span; its length is known",
    "carried": (
        "{phase} was seen from {low} to {high}; its rate at {at} is calculated with the "
        "shared loss term"
    ),
    "passed-at-once": "passed in no time",
    "gap-there": "a gap of unknown length there",
    "not-in-phase": "not in this phase around {level}, or not long enough",
    "too-short": "too short for the model",
    "ended-at-highest-inside": "ended inside the band while still at its highest",
    "ended-at-highest": "ended at its highest: it may have gone further beyond the top",
    "no-stay": "no confirmed stay in the band",
    "blind-inside": "the signal was lost inside the band",
    "jump-inside": "the reading jumped inside the band",
    "ended-inside": "the recording ended inside the band",
    "drained-inside": "drained inside the band",
    "resting-inside": "resting inside the band",
    "no-plug-out": "no plug-out mark",
    "plug-out-brief": "the plug was out too briefly",
    "one-step": "the fluid moved by no more than one step of the reading, {step_k}",
}
GROUPS = {
    "compare": COMPARE,
    "table": TABLE,
    "differences": DIFFERENCES,
    "report": REPORT,
    "within": WITHIN,
    "note": NOTES,
    "missing": MISSING,
}
