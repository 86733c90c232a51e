"""`warmwatch compare` as it is typed: text, JSON, tables, and what a mechanic is told."""

import csv
import json
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.compare.made import START_UTC_S, Warm, mark, values, warm_items, write
from warmwatch.analysis.many.frames import Note
from warmwatch.analysis.many.runs import Wanted, load_runs
from warmwatch.analysis.methods.figures import label
from warmwatch.commands.compare import entry as module
from warmwatch.commands.compare.export import FIGURES, HOLDS, TEXTS
from warmwatch.commands.main import run
from warmwatch.core.band import Band
from warmwatch.core.reading import Item, MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.outputs.picture.comparison import draw, picture
from warmwatch.words.cautions import loading_cautions
from warmwatch.words.compare.notes import missing_text
from warmwatch.words.compare.report import report
from warmwatch.words.compare.table import table

RATES = {"idle": (1.9, 2.0, 2.05, 1.95), "drive": (2.9, 3.1, 3.0)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with four idle runs and three drives that all reach the band."""
    made = tmp_path_factory.mktemp("recordings")
    number = 0
    for method, rates in RATES.items():
        for rate in rates:
            number += 1
            warm = Warm(rate, 0.02, 40.0 + 0.9 * (number % 3), 15.0 + 2.0 * (number % 4))
            phase = "driving" if method == "drive" else "idle"
            items = warm_items(warm, 3000, every_s=5.0, noise_c=0.05, seed=number, phase=phase)
            write(made, items, method=method, utc_s=START_UTC_S + 1e4 * number)
    return made


@pytest.fixture(autouse=True)
def own_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("WARMWATCH_CACHE", str(tmp_path / "features.sqlite"))


def typed(*arguments: object) -> str:
    """Return what the command prints on stdout, without its line breaks between words."""
    found = CliRunner().invoke(module.command, [str(argument) for argument in arguments])
    assert found.exit_code == 0, found.output + repr(found.exception)
    return re.sub(r"\n    (?=\S)", " ", found.stdout)


def as_json(*arguments: object) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(typed(*arguments, "--json"))
    return found


def test_a_mechanic_reads_the_answer_at_once(folder: Path) -> None:
    """The sentence names the methods, the minutes, the interval and the number of runs."""
    text = typed(folder)
    found = re.search(
        r"Driving reached the band ([\d.]+) min sooner than idling \(95 % interval ([\d.]+) to "
        r"([\d.]+) min, 3 and 4 runs; ambient temperature taken into account, without that "
        r"([\d.]+) min\)\.",
        text,
    )
    assert found is not None, text
    size, low, high, _ = (float(value) for value in found.groups())
    truth = [
        Warm(rate, 0.02, 40.0, 18.0).time_to(80.0) / 60.0
        - Warm(rate, 0.02, 40.0, 18.0).time_to(43.0) / 60.0
        for rate in (2.0, 3.0)
    ]
    assert low < truth[0] - truth[1] < high
    assert low < size < high


def test_the_contract_of_the_json(folder: Path) -> None:
    """One object with `methods` (each with `method` and `n`) and `differences`, all finite JSON."""
    found = as_json(folder)
    assert [(m["method"], m["n"]) for m in found["methods"]] == [("drive", 3), ("idle", 4)]
    assert {"time_to_band_min", "window_min", "coolant_peak_c"} <= found["methods"][0][
        "figures"
    ].keys()
    first = next(d for d in found["differences"] if d["figure"] == "time_to_band_min")
    assert (first["a"], first["b"], first["n_a"], first["n_b"]) == ("drive", "idle", 3, 4)
    assert first["unadjusted"]["interval"] == "welch-t"
    assert first["adjusted"]["interval"] == "model-t"
    assert len(found["runs"]) == 7
    assert found["sentences"]
    assert "Infinity" not in json.dumps(found)


def test_text_and_json_say_the_same(folder: Path) -> None:
    """Every sentence of the JSON stands in the text."""
    text = typed(folder)
    for sentence in as_json(folder)["sentences"]:
        assert sentence in text


def test_the_table_as_csv(folder: Path, tmp_path: Path) -> None:
    """One row for each recording, with the documented columns and nothing else on stdout."""
    target = tmp_path / "out.csv"
    typed(folder, "--csv", target)
    with target.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 7
    expected = [*TEXTS, *FIGURES]
    assert list(rows[0])[: len(expected)] == expected
    assert list(rows[0])[-len(HOLDS) - 2 : -2] == list(HOLDS)
    by_name = {run["recording"]: run for run in as_json(folder)["runs"]}
    for row in rows:
        figures = by_name[row["recording"]]["figures"]
        assert float(row["time_to_band_min"]) == figures["time_to_band_min"]


def test_the_columns_are_documented() -> None:
    """Every column of the tables is named in docs/compare.md."""
    page = (Path(__file__).parents[2] / "docs" / "compare.md").read_text(encoding="utf-8")
    for name in (*TEXTS, *FIGURES, *HOLDS, "missing", "notes", "rate_at_70_c_per_min"):
        assert f"`{name}`" in page, name


def test_the_table_as_parquet(folder: Path, tmp_path: Path) -> None:
    """The Parquet table holds what the CSV holds."""
    import pyarrow.parquet as pq

    typed(folder, "--csv", tmp_path / "t.csv", "--parquet", tmp_path / "t.parquet")
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        expected = list(csv.DictReader(file))
    found = pq.read_table(tmp_path / "t.parquet").to_pylist()
    assert [row["recording"] for row in found] == [row["recording"] for row in expected]
    for mine, other in zip(found, expected, strict=True):
        for name, value in mine.items():
            if isinstance(value, float):
                assert value == float(other[name])
            else:
                assert (value or "") == other[name]


def test_results_go_over_nothing_else(folder: Path, tmp_path: Path) -> None:
    """A recording or anything else that is no earlier result is never written over."""
    recording = next(folder.glob("*.csv"))
    before = recording.read_bytes()
    assert run(["compare", str(folder), "--csv", str(recording)]) == 2
    assert recording.read_bytes() == before
    target = tmp_path / "a.csv"
    typed(folder, "--csv", target)
    typed(folder, "--csv", target)
    target.write_text("my own notes\n", encoding="utf-8")
    assert run(["compare", str(folder), "--csv", str(target)]) == 2
    assert target.read_text(encoding="utf-8") == "my own notes\n"


def loaded_items(number: int) -> Iterator[Item]:
    """Yield idling, then holds of 4 s with a minute of rest, on a mass that warms."""
    for second in range(1500):
        load = second > 600 and second % 65 < 4
        more = 2.4 if second > 600 else 1.0
        fluid_c = 60.0 + number / 10 + min(second, 600) / 60.0 + max(0, second - 600) * more / 60.0
        yield Reading(
            float(second),
            values(round(fluid_c, 2), "loaded" if load else "idle", ambient_c=20.0 + 2.0 * number),
            utc_s=START_UTC_S + second,
        )


@pytest.fixture(scope="module")
def with_holds(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("holds")
    for number in range(3):
        write(made, loaded_items(number), method="loaded", utc_s=START_UTC_S + 1e6 * number)
        warm = Warm(2.0, 0.02, 59.0 + number)
        items = warm_items(warm, 2400, every_s=5.0, seed=number)
        write(made, items, method="idle", utc_s=START_UTC_S + 2e7 + 1e4 * number)
    return made


ADVICE = re.compile(
    r"\b(try|should|recommended|best|better|worth|prefer|advis\w+|suggest\w*|quickest|fastest|"
    r"use (the )?(loaded|holds?)|save[sd]?)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("by", ["method", "phase", "both"])
def test_holds_come_with_cautions_and_without_advice(with_holds: Path, by: str) -> None:
    """Where holds were recorded the cautions stand in the text, and no word reads as advice."""
    text = typed(with_holds, "--by", by)
    assert loading_cautions()[0] in text
    assert "nobody in front of it or behind it" in text
    assert "carbon monoxide" in text
    assert "Holds against the brakes:" in text
    told = text.replace(loading_cautions()[0], "")
    assert not ADVICE.search(told), ADVICE.search(told)


def test_loaded_runs_are_never_the_subject(with_holds: Path) -> None:
    """A sentence says how much later the others were, never how much sooner holding was."""
    found = as_json(with_holds)
    told = [s for s in found["sentences"] if "loaded" in s]
    assert told
    assert not any(sentence.startswith("The loaded runs reached") for sentence in told)
    assert any("later than the loaded runs" in sentence for sentence in told)
    assert found["cautions"][0] == loading_cautions()[0]


def test_idling_and_driving_come_without_cautions_about_holds(folder: Path) -> None:
    """Where nobody held anything, nothing is said of holds."""
    text = typed(folder)
    assert "against the brakes" not in text


def test_one_warm_up_tells_something_by_itself(with_holds: Path) -> None:
    """Idling and holds within one recording are compared at one temperature, with an interval."""
    path = next(with_holds.glob("*loaded.csv"))
    text = typed(path)
    assert "There is only one group, loaded: nothing to compare." in text
    assert re.search(r"gained 1\.\d+ °C/min less with idling than with holds and rests", text)
    (within,) = as_json(path)["within"]
    (found,) = within["differences"]
    assert found["low"] <= -1.4 <= found["high"]


def test_two_runs_each_are_too_few_to_tell(folder: Path) -> None:
    """With two runs of each, the sentence says so instead of claiming."""
    paths = [*sorted(folder.glob("*idle.csv"))[:2], *sorted(folder.glob("*drive.csv"))[:2]]
    sentences = as_json(*paths)["sentences"]
    assert sentences[0] == (
        "Two runs each of drive and idle are too few to compare the time to the band."
    )


def test_runs_that_do_not_differ_are_not_told_apart(tmp_path: Path) -> None:
    """Two labels for one way: no difference is claimed, and the interval is shown."""
    for number, rate in enumerate((2.4, 2.6, 2.5, 2.55, 2.45, 2.501)):
        items = warm_items(Warm(rate), 2400, every_s=5.0)
        write(tmp_path, items, method="ab"[number % 2], utc_s=START_UTC_S + 1e4 * number)
    (sentence, *_) = as_json(tmp_path)["sentences"]
    assert sentence.startswith(
        "These runs show no sure difference between the a runs and the b runs in the time"
    )
    assert "95 % interval -" in sentence


def test_runs_that_never_arrive_are_told(tmp_path: Path) -> None:
    """A method whose runs ended before the band is told so, and compared over the common span."""
    for number, rate in enumerate((1.0, 1.05, 0.98, 2.5, 2.6, 2.4)):
        method = "heater" if number < 3 else "drive"
        items = warm_items(Warm(rate), 2400, every_s=5.0)
        write(tmp_path, items, method=method, utc_s=START_UTC_S + 1e4 * number)
    sentences = as_json(tmp_path)["sentences"]
    assert sentences[0] == (
        "The heater runs had not reached the band 80 to 90 °C when the recording ended in 3 of 3 "
        "runs."
    )
    assert re.match(r"Driving took [\d.]+ min less from 40 to 55 °C than the heater", sentences[1])


def test_everything_is_told_and_nothing_left_out_silently(folder: Path, tmp_path: Path) -> None:
    """Mixed bands, vehicles, missing labels, a foreign file: all in the text, all in the JSON."""
    more = tmp_path / "more"
    write(more, warm_items(Warm(2.5), 1500, every_s=5.0), method="", vehicle="van",
          band=Band(60.0, 70.0), utc_s=0.0)  # fmt: skip
    (more / "list.csv").write_text("a,b\n", encoding="utf-8")
    text = typed(folder, more)
    assert "Recordings: 8 found, 8 used." in text
    assert "list.csv: is not a recording" in text
    assert "was made for 60 to 70 °C; judged here by 80 to 90 °C" in text
    assert "has no method label" in text
    assert "2 vehicles: the plain figures mix them" in text
    found = as_json(folder, more)
    assert {"(no label)", "drive", "idle"} == {m["method"] for m in found["methods"]}
    used = {run["recording"] for run in found["runs"]}
    told = {note["recording"] for note in found["notes"] if not note["used"]}
    assert len(used) == 8
    assert told == {"list.csv"}


def test_degrees_fahrenheit(folder: Path) -> None:
    """In degF the table, the sentences and the reasons are in degF; the JSON stays in degC."""
    text = typed(folder, "--unit", "F", "--band", "176:194", "--at", "140,158")
    assert "Band 176 to 194 °F" in text
    assert "heating at 140 °F, °F/min" in text
    assert "°C" not in text
    assert as_json(folder, "--unit", "F", "--at", "140,158")["at_c"] == [60, 70]
    wide = Reason("one-step", {"step_k": 0.5})
    assert missing_text(Reason("not-reaching", {"level_c": 80}), "F") == "does not reach 176 °F"
    assert missing_text(wide, "F").endswith("one step of the reading, 0.9 °F")


def test_wishes_are_kept(folder: Path) -> None:
    """Start, end, temperatures and reference are those that were asked for."""
    found = as_json(folder, "--from", "50", "--to", "70", "--at", "60", "--against", "Idle")
    assert (found["from_c"], found["to_c"], found["at_c"]) == (50, 70, [60])
    assert {(d["a"], d["b"]) for d in found["differences"]} == {("drive", "idle")}
    labelled = as_json(folder, "--label", "*idle.csv=standing")
    assert [m["method"] for m in labelled["methods"]] == ["drive", "standing"]


@pytest.mark.parametrize(
    ("wish", "told"),
    [
        (["--from", "70", "--to", "60"], "--from must be below --to"),
        (["--from", "warm"], "--from warm"),
        (["--against", "rocket"], "known are drive, idle"),
        (["--label", "idle"], "--label idle: write it like"),
        (["--plot", "a.gif"], "end the name in .png or .svg"),
        (["--band", "90:80"], "--band 90:80"),
    ],
)
def test_wrong_wishes_are_one_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str], wish: list[str], told: str
) -> None:
    """What cannot be done is told in a sentence, with exit code 2."""
    assert run(["compare", str(folder), *wish]) == 2
    assert told in capsys.readouterr().err


def test_no_recording_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder without recordings fails with a sentence and what lies there instead."""
    (tmp_path / "list.csv").write_text("a,b\n", encoding="utf-8")
    assert run(["compare", str(tmp_path)]) == 1
    told = capsys.readouterr().err
    assert "list.csv: is not a recording" in told
    assert "can be compared" in told


def test_nothing_is_kept_when_not_wanted(folder: Path, tmp_path: Path) -> None:
    """`--no-cache` leaves no file behind."""
    typed(folder, "--no-cache")
    assert not (tmp_path / "features.sqlite").exists()
    typed(folder)
    assert (tmp_path / "features.sqlite").exists()


def test_the_table_fits_a_narrow_terminal(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In 60 columns the groups stand below each other and every line fits."""
    loaded = module.load([str(folder)], Wanted(), keep=False, dask=None)
    result = module.compared(loaded)
    lines = table(result.comparison, "C", 60)
    assert max(len(line) for line in lines) <= 60
    assert sum(line.startswith("runs") for line in lines) == 2


def test_the_figures_have_no_needless_digits(folder: Path) -> None:
    """Whole minutes from twenty on, tenths below; rates to hundredths."""
    from warmwatch.words.compare.rows import MINUTES, RATE, TEMPERATURE
    from warmwatch.words.compare.table import shown_value

    assert shown_value(31.44, MINUTES, "C") == "31"
    assert shown_value(9.96, MINUTES, "C") == "10.0"
    assert shown_value(-0.001, RATE, "C") == "0.00"
    assert shown_value(1.0, RATE, "F") == "1.80"
    assert shown_value(85.0, TEMPERATURE, "F") == "185"


@pytest.mark.slow
def test_dask_gives_the_same_text(folder: Path) -> None:
    """With `--dask` the text is the same to the last character."""
    from distributed import LocalCluster

    start: Any = LocalCluster
    with start(
        n_workers=2,
        threads_per_worker=1,
        processes=False,
        protocol="tcp://",
        dashboard_address=None,
        worker_dashboard_address=None,
        host="127.0.0.1",
        silence_logs="ERROR",
    ) as cluster:
        there = typed(folder, "--no-cache", "--dask", cluster.scheduler_address)
    assert there == typed(folder, "--no-cache")


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_picture(folder: Path, tmp_path: Path, kind: str) -> None:
    """A picture is written in both formats, the same bytes each time."""
    first, second = tmp_path / f"a.{kind}", tmp_path / f"b.{kind}"
    typed(folder, "--plot", first)
    typed(folder, "--plot", second)
    assert first.read_bytes() == second.read_bytes()
    assert len(first.read_bytes()) > 10_000


def test_the_picture_says_what_it_shows(with_holds: Path, tmp_path: Path) -> None:
    """Methods with their runs, the band, the start, the axes and the caution stand there."""
    typed(with_holds, "--plot", tmp_path / "a.svg")
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    for words in (
        "idle, 3 of 3 runs",
        "loaded, 3 of 3 runs",
        "band 80 to 90 °C",
        "minutes since",
        "heating rate, °C/min",
        "Invented for a test.",
        "does not recommend holding",
    ):
        assert words in text, words


@pytest.mark.slow
def test_many_methods_are_not_drawn_alike(folder: Path, tmp_path: Path) -> None:
    """No two methods share a look: beyond seven the picture says how many are left out."""
    loaded = module.load([str(folder)], Wanted(), keep=False, dask=None)
    runs = [replace(one, method=f"m{n}") for one in loaded.runs for n in range(9)]
    result = module.compared(replace(loaded, runs=tuple(runs)))
    text = picture(result.comparison, runs, "C", "svg").decode()
    assert "The 7 methods with the most runs; 2 more in the table." in text


def test_a_picture_without_a_common_span_is_still_one(tmp_path: Path) -> None:
    """Where nothing can be aligned the picture shows axes and band, and says 0 runs."""
    write(tmp_path, warm_items(Warm(2.5), 60), method="low", utc_s=START_UTC_S)
    write(tmp_path, warm_items(Warm(2.5, start_c=84.0), 60), method="high", utc_s=0.0)
    typed(tmp_path, "--plot", tmp_path / "a.svg")
    assert "low, 0 of 1 runs" in (tmp_path / "a.svg").read_text(encoding="utf-8")


def test_of_two_kinds_of_holds_the_slower_is_the_subject(tmp_path: Path) -> None:
    """Between two ways of holding no sentence says that one is the sooner."""
    for number, rate in enumerate((2.4, 3.1, 2.5, 3.0, 2.45, 3.05)):
        method = ("stall a", "stall z")[number % 2]
        items = warm_items(Warm(rate), 2400, every_s=5.0)
        write(tmp_path, items, method=method, utc_s=START_UTC_S + 1e4 * number)
    (sentence, *_) = as_json(tmp_path)["sentences"]
    assert sentence.startswith("The stall a runs reached the band")
    assert "later than the stall z runs" in sentence


def test_the_picture_draws_what_the_runs_say(folder: Path) -> None:
    """The thick curve is the median of all runs, also of those that did not get so far."""
    import numpy as np

    loaded = module.load([str(folder)], Wanted(), keep=False, dask=None)
    result = module.compared(loaded)
    start_c = result.comparison.span.from_c
    assert start_c is not None
    figure = draw(result.comparison.span, loaded.runs, "C", ())
    curves, rates = figure.axes
    (line,) = [one for one in curves.lines if str(one.get_label()).startswith("idle")]
    runs = [one.features for one in loaded.runs if label(one) == "idle"]
    drawn = np.asarray(line.get_xydata())
    assert len(drawn) > 40
    for minutes, level in drawn:
        times = [
            ((one.reached_s(level) or math.inf) - (one.reached_s(float(start_c)) or 0.0)) / 60.0
            for one in runs
        ]
        assert minutes == pytest.approx(float(np.median(times)))
    assert len(rates.lines) == 2
    assert math.isclose(curves.get_xlim()[0], 0.0)


def test_plug_out_stands_in_the_table(tmp_path: Path) -> None:
    """How steady the fluid was with the plug out is a row of the table."""
    items = list(warm_items(Warm(2.5), 2400, every_s=2.0))
    middle = next(i for i, item in enumerate(items) if item.elapsed_s > Warm(2.5).time_to(82.0))
    out = mark(items[middle].elapsed_s + 0.5, MarkName.PLUG_OUT)
    back = mark(items[middle + 50].elapsed_s + 0.5, MarkName.PLUG_IN)
    write(tmp_path, [*items[: middle + 1], out, *items[middle + 1 : middle + 51], back,
                     *items[middle + 51 :]])  # fmt: skip
    text = typed(tmp_path)
    assert "drift, plug out, °C/min" in text
    (one,) = as_json(tmp_path)["runs"]
    expected = replace(Warm(2.5)).rate_at(83.0)
    assert one["figures"]["plug_out_rate_c_per_min"] == pytest.approx(expected, rel=0.05)


def test_a_drift_within_one_step_of_the_reading_is_no_rate(tmp_path: Path) -> None:
    """Whole degrees that moved by one at most while the plug was out give no drift, and say why."""
    items = list(warm_items(Warm(1.7), 3600, every_s=2.0, digits=0))
    middle = next(i for i, item in enumerate(items) if item.elapsed_s > Warm(1.7).time_to(82.6))
    out = mark(items[middle].elapsed_s + 0.5, MarkName.PLUG_OUT)
    write(tmp_path, [*items[: middle + 1], out, *items[middle + 1 : middle + 20]])
    (one,) = as_json(tmp_path)["runs"]
    assert "plug_out_rate_c_per_min" not in one["figures"]
    assert "one step of the reading, 1 °C" in one["missing"]["plug_out_rate_c_per_min"]
    assert one["figures"]["plug_out_range_c"] <= 1.0


def test_stays_that_were_not_seen_to_their_end_are_told_first(tmp_path: Path) -> None:
    """Where recordings end inside the band a sentence says that stays cannot be compared."""
    for number, (method, rate) in enumerate((("a", 2.0), ("a", 2.05), ("b", 3.0), ("b", 3.1))):
        items = warm_items(Warm(rate), Warm(rate).time_to(84.0), every_s=2.0)
        write(tmp_path, items, method=method, utc_s=START_UTC_S + 1e4 * number)
    told = as_json(tmp_path)["sentences"]
    assert any("all recordings that reached it end inside it" in sentence for sentence in told), (
        told
    )


def test_one_small_group_is_named_alone(folder: Path) -> None:
    """Where only one method has too few runs the sentence does not call the other's too few."""
    paths = [*sorted(folder.glob("*idle.csv")), *sorted(folder.glob("*drive.csv"))[:2]]
    assert as_json(*paths)["sentences"][0] == (
        "Two runs of drive are too few to compare the time to the band with that of idle."
    )


def test_invented_recordings_among_measured_ones_are_counted(tmp_path: Path) -> None:
    """The head never calls measured recordings invented."""
    path = write(tmp_path, warm_items(Warm(2.0), 2400, every_s=5.0), method="a")
    write(tmp_path, warm_items(Warm(2.1), 2400, every_s=5.0), method="a", utc_s=0.0)
    sidecar = path.with_name(path.name + "-metadata.json")
    text = sidecar.read_text(encoding="utf-8")
    sidecar.write_text(text.replace('"invented": "Invented for a test."', '"x": ""'), "utf-8")
    assert typed(tmp_path).startswith("1 of 2 recordings: Invented for a test.")


def test_a_hold_let_go_at_the_limit_is_not_said_to_reach_it() -> None:
    """The invented holds of 5 s were let go in time: the line does not read as a contradiction."""
    text = typed(*sorted((Path(__file__).parents[2] / "recordings").glob("*loaded.csv")))
    assert "the longest 5.0 s; none was still held at the limit, none began before" in text


def test_many_small_groups_are_told_in_one_sentence(tmp_path: Path) -> None:
    """Ten pairs of single runs make one sentence that names the groups, not ten."""
    for number in range(5):
        items = warm_items(Warm(2.0 + 0.2 * number), 2400, every_s=5.0)
        write(tmp_path, items, method="abcde"[number], utc_s=START_UTC_S + 1e4 * number)
    told = [one for one in as_json(tmp_path)["sentences"] if "too few" in one]
    small = "a (1), b (1), c (1), d (1), e (1)"
    assert told == [f"Groups with too few runs to compare them with others: {small}."]


@pytest.mark.slow
def test_many_pairs_say_that_one_interval_in_twenty_misses(folder: Path) -> None:
    """With two methods nothing is said of chance misses; with four, six pairs, it is."""
    text = "Of twenty such intervals about one misses by chance"
    assert text not in typed(folder)
    recordings = Path(__file__).parents[2] / "recordings"
    many = [*recordings.glob("*invented_idle.csv"), *recordings.glob("*drive.csv")]
    many += [*recordings.glob("*heater.csv"), *recordings.glob("*fast-idle.csv")]
    assert text in typed(*many)


def test_a_label_for_no_recording_is_told(folder: Path) -> None:
    """A pattern that fits nothing is said to set nothing."""
    assert "tuesday*: fits no recording" in typed(folder, "--label", "tuesday*=idle")


def test_names_and_labels_do_not_steer_the_terminal(tmp_path: Path) -> None:
    """Control characters in a label come out as question marks."""
    write(tmp_path, warm_items(Warm(2.0), 2400, every_s=5.0), method="a\x1b[2Jb")
    text = "\n".join(report(module.compared(load_runs([tmp_path])), "C", 100))
    assert "\x1b" not in text
    assert "a?[2jb" in text


def test_recordings_that_share_no_span_are_still_told(tmp_path: Path) -> None:
    """Nothing in common is said in words, and each recording still has its row."""
    write(tmp_path, warm_items(Warm(2.5), 60), method="low", utc_s=START_UTC_S)
    write(tmp_path, warm_items(Warm(2.5, start_c=84.0), 60), method="high", utc_s=0.0)
    text = typed(tmp_path)
    assert "no span in common" in text
    assert len(as_json(tmp_path)["runs"]) == 2


def test_many_notes_are_cut_short_in_the_text_alone(folder: Path, tmp_path: Path) -> None:
    """Thirty different notes fill no screen; the JSON holds them all."""
    from warmwatch.words.compare.report import NOTES_SHOWN, report

    loaded = module.load([str(folder)], Wanted(), keep=False, dask=None)
    result = module.compared(loaded)
    notes = tuple(Note(f"{n}.csv", f"reason {n}", used=False) for n in range(30))
    lines = report(replace(result, notes=notes), "C", 100)
    assert f"  and {30 - NOTES_SHOWN} lines more; all are in --json" in lines


def test_methods_never_seen_at_one_temperature_are_told(tmp_path: Path) -> None:
    """One way recorded on cold days only, the other on warm ones: the text says so."""
    for number, ambient_c in enumerate((1.0, 2.0, 4.0, 20.0, 21.0, 23.0)):
        method = "cold" if number < 3 else "warm"
        items = warm_items(Warm(2.5 + number % 2 / 20, ambient_c=ambient_c), 2400, every_s=5.0)
        write(tmp_path, items, method=method, utc_s=START_UTC_S + 1e4 * number)
    assert "no ambient temperature was seen with both" in typed(tmp_path)


def test_methods_of_different_vehicles_are_told(tmp_path: Path) -> None:
    """If no vehicle was recorded with both ways, the difference may be one between vehicles."""
    for number in range(6):
        method = ("a", "b")[number % 2]
        items = warm_items(Warm(2.4 + number % 2), 2400, every_s=5.0, noise_c=0.1, seed=number)
        write(tmp_path, items, method=method, vehicle=method, utc_s=START_UTC_S + 1e4 * number)
    text = typed(tmp_path)
    assert "a and b: no vehicle was recorded with both" in text
    assert "adjusted not possible" in text


def test_files_are_written_before_the_text(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What reads the text may go away in the middle; the table is there all the same."""

    def gone(*_: object, **__: object) -> None:
        raise BrokenPipeError

    monkeypatch.setattr(module, "report", gone)
    found = CliRunner().invoke(module.command, [str(folder), "--csv", str(tmp_path / "t.csv")])
    assert isinstance(found.exception, BrokenPipeError)
    assert (tmp_path / "t.csv").exists()


def test_two_short_methods_are_too_few_over_a_span(tmp_path: Path) -> None:
    """Where the band was never reached, too few runs are told of the span instead."""
    for number, method in enumerate(("a", "b")):
        items = warm_items(Warm(1.0, start_c=40.0 + number), 1200, every_s=5.0)
        write(tmp_path, items, method=method, utc_s=START_UTC_S + 1e4 * number)
    told = as_json(tmp_path)["sentences"]
    assert any("too few to compare the time from" in sentence for sentence in told), told
