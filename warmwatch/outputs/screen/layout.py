"""The terminal screen as a pure function: a board and a size in, lines out.

The window's rows are given out by importance; what does not fit is left out, the least important
first. Nothing is said by colour alone: each state has its words and its picture.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from rich.cells import cell_len, set_cell_size

from warmwatch.core.band import Band
from warmwatch.outputs.screen.board import Board, cautions
from warmwatch.outputs.screen.digits import big
from warmwatch.outputs.screen.gauge import gauge
from warmwatch.outputs.screen.glyphs import Glyphs, plain
from warmwatch.outputs.screen.headline import Headline
from warmwatch.outputs.screen.wrapping import wrap
from warmwatch.words.catalogue import phrase

BIG_WORD_ROWS = 4
_ROWS_FOR_KEYS = 10
_ROWS_FOR_BIG_WORD = 30
_ROWS_FOR_TALL_BANNER = 26
REST_ROWS, MOST_REST_ROWS = 6, 10
"""So many rows are kept for what is not the figure; more once the conditions matter."""
_FIGURE_ROWS = 7
"""The figure gets at least so many rows before anything less important gets one."""


class Style(StrEnum):
    """How a piece of a line is shown; the painter knows the colours."""

    PLAIN = "plain"
    DIM = "dim"
    STRONG = "strong"
    CALM = "calm"
    READY = "ready"
    GOOD = "good"
    ALARM = "alarm"
    CODE = "code"


Span = tuple[str, Style]
Line = tuple[Span, ...]

BANNER_STYLES = {
    Headline.WAITING: Style.CALM,
    Headline.RESTING: Style.CALM,
    Headline.BELOW: Style.CALM,
    Headline.LEVELLING: Style.READY,
    Headline.NEAR: Style.READY,
    Headline.INSIDE: Style.GOOD,
    Headline.TOP_NEAR: Style.READY,
    Headline.BOTTOM_NEAR: Style.READY,
    Headline.ABOVE: Style.ALARM,
    Headline.NOT_FIT: Style.ALARM,
    Headline.PLUG_OPEN: Style.ALARM,
    Headline.HOLD_LIMIT: Style.ALARM,
    Headline.TOO_HOT: Style.ALARM,
    Headline.BLIND: Style.ALARM,
    Headline.ENDED: Style.CALM,
}


@dataclass(frozen=True, slots=True)
class Frame:
    """All that is drawn besides the board.

    `keys` are short texts of keys and their meaning; `panel` replaces everything under the banner
    (the page's address); `beat` alternates while something that insists makes the banner flash.
    """

    width: int
    height: int
    glyphs: Glyphs
    band: Band
    unit: str
    keys: tuple[str, ...] = ()
    prompt: str = ""
    panel: tuple[Line, ...] = ()
    beat: bool = False


def render(board: Board, frame: Frame) -> list[Line]:
    """Return exactly `height` lines of at most `width` cells."""
    banner = _banner(board, frame)
    keys = _keys(frame) if frame.prompt or frame.height >= _ROWS_FOR_KEYS else []
    if frame.panel:
        body = _panel(board, frame, frame.height - len(banner))
        keys = keys if len(banner) + len(body) + len(keys) <= frame.height else []
    else:
        body = _body(board, frame, frame.height - len(banner) - len(keys))
    lines = [*banner, *body]
    lines = lines[: max(0, frame.height - len(keys))]
    lines += [()] * (frame.height - len(keys) - len(lines))
    return [_fit(line, frame) for line in (*lines, *keys)][: frame.height]


def _banner(board: Board, frame: Frame) -> list[Line]:
    style = BANNER_STYLES[board.headline]
    if not board.fit and style is not Style.ALARM:
        style = Style.READY
    if board.insists and frame.beat:
        style = Style.STRONG
    picture = frame.glyphs.pictures[board.headline]
    roomy = frame.height >= _ROWS_FOR_BIG_WORD
    drawn = big(board.word, frame.width - 4, BIG_WORD_ROWS, frame.glyphs) if roomy else []
    if drawn:
        texts = ["", *drawn, f"{picture}   {board.act}", ""]
    else:
        texts = [f"{picture}  {board.word}  {board.act}"]
        if cell_len(texts[0]) > frame.width - 2:
            lines = 1 if frame.height < _ROWS_FOR_TALL_BANNER else 2
            texts = [f"{picture}  {board.word}", *_wrap(board.act, frame, margin=2)[:lines]]
        if frame.height >= _ROWS_FOR_TALL_BANNER:
            texts = ["", *texts, ""]
    return [((_centre(plain(text, frame.glyphs), frame.width), style),) for text in texts]


def _body(board: Board, frame: Frame, rows: int) -> list[Line]:
    must = [*_gauge(board, frame), _rates(board, frame), *_link(board, frame)]
    time = _time(board, frame)
    if rows < len(must) + len(time) + 1:
        lines = [*_figure(board, frame, 1), *_link(board, frame), *time, _rates(board, frame)]
        return lines[:rows]
    left = rows - len(must) - len(time)
    figure: list[Line] = []
    for kept in range(MOST_REST_ROWS if board.checks else REST_ROWS, -1, -1):
        figure = _figure(board, frame, left - kept)
        if len(figure) >= _FIGURE_ROWS:
            break
    return [*figure, *time, *must, *_rest(board, frame, left - len(figure))]


def _time(board: Board, frame: Frame) -> list[Line]:
    if not board.time:
        return []
    drawn: list[str] = []
    if board.soon and frame.height >= _ROWS_FOR_BIG_WORD:
        drawn = big(board.soon.upper(), frame.width // 2, BIG_WORD_ROWS, frame.glyphs)
    lines = [[(f"  {row}  ", Style.STRONG)] for row in drawn] or [[]]
    lines[len(lines) // 2].append((board.time, Style.STRONG))
    return [*([()] if drawn else []), *(tuple(line) for line in lines)]


def _figure(board: Board, frame: Frame, rows: int) -> list[Line]:
    """Return the temperature, or BLIND in its place, as tall as `rows` and the width allow."""
    style = Style.ALARM if board.headline is Headline.BLIND else Style.STRONG
    blind = board.headline is Headline.BLIND
    text = board.figure or phrase(f"board.{'blind' if blind else 'no'}-figure")
    unit = plain(board.unit, frame.glyphs) if board.figure else ""
    drawn = big(text, frame.width - 2 * (len(unit) + 1), rows, frame.glyphs)
    if not drawn:
        return [((_centre(f"{text} {unit}", frame.width), style),)] if rows >= 1 else []
    margin = " " * ((frame.width - len(drawn[0])) // 2)
    lines: list[Line] = [((margin, Style.PLAIN), (row, style)) for row in drawn]
    if board.headline is Headline.BLIND:  # reversed as a whole: the drawing is of spaces and blocks
        lines = [((margin + row, Style.STRONG),) for row in drawn]
    lines[0] = (*lines[0], (f" {unit}", Style.STRONG))
    return lines


def _gauge(board: Board, frame: Frame) -> list[Line]:
    labels, line = gauge(frame.band, board.place, frame.unit, frame.width - 4, frame.glyphs)
    line_style = Style.STRONG if board.place is not None else Style.DIM
    return [((f"  {labels}", Style.PLAIN),), ((f"  {line}", line_style),)]


def _rates(board: Board, frame: Frame) -> Line:
    texts = (board.rate, *board.facts)
    if board.sound_ok:
        return ((_joined(texts, frame.width), Style.PLAIN),)
    no_sound = phrase("board.no-sound")
    rest = _joined(texts, frame.width - cell_len(no_sound) - 2)
    return ((no_sound, Style.ALARM), (f"  {rest}", Style.PLAIN))


def _link(board: Board, frame: Frame) -> list[Line]:
    style = Style.PLAIN if board.link_ok else Style.ALARM
    return [((text, style),) for text in _wrap(board.link, frame)[:2]]


def _rest(board: Board, frame: Frame, rows: int) -> list[Line]:
    """Return up to `rows` further lines in their order on the screen, chosen by importance."""
    style = Style.DIM if board.recording_ok else Style.ALARM
    fitting = [text for text in cautions() if len(text) <= frame.width]
    blocks: dict[str, list[Line]] = {
        "step": _lines([board.step.text], frame, Style.STRONG),
        "checks": _lines(board.checks, frame, Style.PLAIN),
        "conditions": _lines([_joined(board.conditions, frame.width)], frame, Style.PLAIN),
        "recording": [((board.recording, style),)],
        "caution": [((fitting[0] if fitting else cautions()[-1], Style.PLAIN),)],
    }
    wanted = ["step", "recording", "checks", "caution", "conditions"]
    if not board.recording_ok:
        wanted = ["recording", "step", "checks", "caution", "conditions"]
    left = max(0, rows - min(len(board.happened), 2))
    kept: dict[str, list[Line]] = {}
    for name in wanted:
        kept[name] = blocks[name][:left]
        left -= len(kept[name])
    lines = [line for name in blocks for line in kept[name]]
    return [*lines, *_happened(board, frame, rows - len(lines))]


def _lines(texts: Iterable[str], frame: Frame, style: Style) -> list[Line]:
    return [
        ((piece, style),) for text in texts if text for piece in _wrap(text, frame, indent="     ")
    ]


def _happened(board: Board, frame: Frame, rows: int) -> list[Line]:
    """Return what happened in up to `rows` lines, the newest last and standing out."""
    lines: list[Line] = []
    style = Style.PLAIN
    for text in reversed(board.happened):
        pieces = _wrap(text, frame, indent="       ")[: max(0, rows - len(lines))]
        lines = [*(((piece, style),) for piece in pieces), *lines]
        style = Style.DIM
    return lines


def _panel(board: Board, frame: Frame, rows: int) -> list[Line]:
    figure = f"{board.figure} {board.unit}" if board.figure else phrase("board.no-temperature")
    head: Line = ((f"{figure}   {board.link}", Style.STRONG if board.link_ok else Style.ALARM),)
    return [head, *frame.panel[: max(0, rows - 1)]]


def _keys(frame: Frame) -> list[Line]:
    if frame.prompt:
        # The end of what is typed is what the typist looks at.
        text = plain(frame.prompt, frame.glyphs)
        while cell_len(text) > frame.width - 1:
            text = text[1:]
        return [((text + "_", Style.STRONG),)]
    lines: list[str] = []
    for key in frame.keys:
        joined = f"{lines[-1]}  {key}" if lines else key
        if lines and cell_len(joined) <= frame.width:
            lines[-1] = joined
        else:
            lines.append(key)
    return [
        ((line, Style.DIM),) for line in lines[: 3 if frame.height >= _ROWS_FOR_BIG_WORD else 2]
    ]


def _wrap(text: str, frame: Frame, *, margin: int = 0, indent: str = "") -> list[str]:
    # What cannot be shown is replaced first: that may change how wide the text is.
    return wrap(plain(text, frame.glyphs), frame.width - margin, indent=indent)


def _joined(texts: tuple[str, ...], width: int) -> str:
    """Return as many of `texts` as fit into `width`; none is cut in the middle."""
    line = ""
    for text in texts:
        longer = f"{line} · {text}" if line else text
        if text and cell_len(longer) <= width:
            line = longer
    return line


def _centre(text: str, width: int) -> str:
    """Return `text` in the middle of `width` cells, filled up with spaces."""
    short = set_cell_size(text, min(cell_len(text), width))
    left = (width - cell_len(short)) // 2
    return set_cell_size(" " * left + short, width)


def _fit(line: Line, frame: Frame) -> Line:
    """Return `line` without what the terminal cannot show, cut at the width."""
    fitted: list[Span] = []
    room = frame.width
    for text, style in line:
        shown = plain(text, frame.glyphs)
        if cell_len(shown) > room:
            shown = set_cell_size(shown, room)
        room -= cell_len(shown)
        if shown:
            fitted.append((shown, style))
    return tuple(fitted)
