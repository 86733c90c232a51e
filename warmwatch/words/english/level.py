"""The verdict on the level, and amounts of fluid."""

VERDICT = {
    "no-check": "No level check was recorded: no plug out was marked, other than for draining.",
    "not-known-set": "It cannot be said at what temperature the level was set: {why}.",
    "not-known-checked": "It cannot be said at what temperature the level was checked: {why}.",
    "set-inside": "Level set with the fluid at {span}, inside {band}, from plug out to {until}.",
    "set-outside": (
        "Level set, but NOT inside {band}: the fluid was at {span} from plug out to {until}."
    ),
    "checked-inside": (
        "The fluid was at {span}, inside {band}, from plug out to {until}; that the level was set "
        "was not recorded."
    ),
    "checked-outside": (
        "The fluid was at {span}, NOT inside {band}, from plug out to {until}; that the level was "
        "set was not recorded."
    ),
    "until-plug-in": "plug in",
    "until-level-set": "the mark that the level was set",
    "why-lost": "the temperature was not known, for a time, while the plug was out",
    "why-open": "it was not recorded that the plug went in again",
    "why-no-reading": "there was no reading while the plug was out",
    "why-": "what was recorded of the check is not complete",
    "span": "{low} to {high}",
    "flow-stream": "a stream",
    "flow-drip": "a drip",
    "flow-no-drip": "no drip",
    "last-flow": "The last mark at the open plug was {flow}.",
    "after": "Marked after this check: {marks}.",
    "conditions-not-known": "The conditions of the check are not known.",
    "unmet": "Conditions NOT MET: {names}.",
    "unknown": "Not known: {names}.",
    "all-met": "All conditions were met for the whole time with the plug out.",
    "others-met": "The others were met for the whole time with the plug out.",
}
AMOUNT = {
    "drained": "drained",
    "filled": "filled in",
    "let-out": "let out at the plug",
    "topped-up": "topped up",
    "told": "{amount} at {temp}",
    "spread": "{amount} ±{off} at {temp} ±{temp_off}",
    "what": "what",
    "as-read": "as read",
    "column": "at {temp}",
    "put-in-first": "Put in first: {amount} at {temp}.",
    "takes-up": "What was drained takes up {amount} at {temp}.",
    "first-fill": (
        "What was drained takes up {amount} at {temp}: put in that much first, then set the level "
        "at check temperature."
    ),
    "understood": "Understood: {act} {told}{guessed}.",
    "guessed": " (no temperature given)",
    "cold": "{told} is {amount} at {temp}",
    "too-large": "{told}: MORE THAN ALL THE FLUID",
    "tilt-within": "{tilts}: within the limit of {limit}",
    "tilt-beyond": "{tilts}: BEYOND the limit of {limit}",
}
BALANCE = {
    "unread": "No balance: no amount with its unit could be read from {marks}.",
    "mark": "{mark} at {clock}",
    "incomplete": "What was drained or what was put in is not in the ledger: no balance.",
    "closes": "What came out went back in ({signed}; the reading errors allow ±{spread}).",
    "fits": " This fits the level.",
    "more": "{amount} more went in than came out (the reading errors allow ±{spread}).",
    "less": "{amount} less went in than came out (the reading errors allow ±{spread}).",
    "was-low": " The level was set, so it had been low before, or an amount was misread.",
    "ran-out": " What ran out at the plug was not measured, so this says nothing of the old level.",
    "was-high": " The level was set, so it had been too high before, or an amount was misread.",
    "later": "The amounts come from a job file given later, not from the recording.",
    "reckoned": (
        "Calculated by API MPMS 11.1 / ASTM D1250 for lubricating oils with {density} "
        "±{density_err} kg/m³ at {base}; spreads are expanded uncertainties (k = 2)."
    ),
}
FLUID = {
    "caution": (
        "Calculated, not measured: the level at the plug decides, and service information comes "
        "first. Hot fluid burns. Dispose of old fluid by local rules."
    ),
    "each-time": "Each time {drain} of {capacity} (±{err}) comes out and is replaced. Fresh then:",
    "after": "  after {times}: {middle} %  ({low} to {high} %)",
    "wanted": "For {wanted} %: {times} times{spread}.",
    "wanted-spread": " ({least} to {most} by the capacity's error)",
    "mixing": "This is for complete mixing: drive through all gears between two drains.",
    "grows": "At {check} the fluid grows by {ml} mL per {degree}.",
    "warm-little": "Level checked {off} too warm: {ml} mL too little stays in.",
    "warm-much": "Level checked {off} too warm: {ml} mL too much stays in.",
    "cold-little": "Level checked {off} too cold: {ml} mL too little stays in.",
    "cold-much": "Level checked {off} too cold: {ml} mL too much stays in.",
    "tilted": (
        "Vehicle tilted {tilt}: up to {ml} mL too much or too little, depending on the side."
    ),
}
GROUPS = {"verdict": VERDICT, "amount": AMOUNT, "balance": BALANCE, "fluid": FLUID}
