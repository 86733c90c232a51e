"""Kills and endings at random moments."""

from collections import Counter
from pathlib import Path

from tests.recording import endings, kills


def kill_rows(count: int, folder: Path) -> list[str]:
    """Half of them kill the watch alone, half its helper process, too."""
    lines = []
    for helper_too in (False, True):
        who = "watch and helper" if helper_too else "the watch"
        where = folder / ("both" if helper_too else "one")
        remains = kills.run(count // 2, 8_032, where, helper_too=helper_too)
        states = Counter(str(one.state) for one in remains)
        worst_s = max(one.lost_s for one in remains)
        began = sum(one.readings > 0 for one in remains)
        lines.append(
            f"| `kill -9` of {who} at a random moment, at 10 Hz | {len(remains)}, {began} with "
            f"readings | {_told(states)}; worst loss {worst_s:.1f} s |"
        )
    return lines


def ending_rows(count: int, folder: Path) -> list[str]:
    """INT, TERM and HUP, from before the first byte until after the end."""
    found = endings.run(count, 8_032, folder, longest_s=4.0)
    return [f"| INT, TERM or HUP at a random moment from the start on | {count} | {_told(found)} |"]


def _told(states: "Counter[str]") -> str:
    return ", ".join(f"{count} {state}" for state, count in sorted(states.items()))
