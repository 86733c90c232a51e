"""`csv:FILE`: replays one of our recordings, or any CSV file whose columns are named.

`csv:FILE?elapsed_s=COLUMN&fluid_c=COLUMN&unit=F`: an option that is a quantity, `elapsed_s` or
`time` names the column it is read from.
"""

from pathlib import Path

from warmwatch.errors import UsageError
from warmwatch.links.address import Address
from warmwatch.links.base import Link
from warmwatch.links.csv.columns import open_table
from warmwatch.links.replay import RecordedItems, Replay
from warmwatch.recording.reader import is_recording


def open_address(address: Address, pace: float | None) -> Link:
    """Return the link of a `csv:` address.

    Raises UsageError for a missing file or a wrong column, InputError for a file without rows.
    """
    path = Path(address.rest)
    if not path.exists():
        raise UsageError(f"There is no file {path}: check the name and the folder.")
    if path.is_dir():
        raise UsageError(f"{path} is a folder: name a .csv file in it.")
    if not path.is_file():
        raise UsageError(
            f"{path} can be read only once, but a CSV file is read twice: save it as a file first, "
            "or send its numbers to lines:-."
        )
    if is_recording(path):
        return Replay(RecordedItems(path), pace)
    return Replay(open_table(path, address.options), pace)
