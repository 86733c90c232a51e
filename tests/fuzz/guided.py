"""Coverage-guided fuzzing of the readers with atheris (`pip install -e .[fuzz]`).

    python -m tests.fuzz.guided recording|pdf|job [SECONDS]

Runs for SECONDS (60) from genuine seeds and prints how many inputs were tried. A crash, an input
that takes longer than 10 s or more than 1 GB ends it with the input saved.
"""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["warmwatch", "pypdf"]):
    from tests.fuzz.targets import job_file, pdf_bytes, recording_bytes
    from tests.recording.invented import check_items, record
    from warmwatch.outputs.proof.document import make_proof
    from warmwatch.outputs.proof.visit import gather
    from warmwatch.recording.names import sidecar_path


def seeds(folder: Path, kind: str) -> bytes:
    """Write genuine inputs to `folder`; return the sidecar that the recordings belong to."""
    path = record(folder / "made", check_items(16, 0.25))
    corpus = folder / "corpus"
    corpus.mkdir()
    if kind == "recording":
        (corpus / "seed").write_bytes(path.read_bytes())
    elif kind == "pdf":
        made = make_proof(gather(path), paper="a4", key=None, time="2026-01-01T00:00:00Z")
        (corpus / "seed").write_bytes(made)
    else:
        for n, example in enumerate(Path("docs").glob("*.toml")):
            (corpus / f"seed{n}").write_bytes(example.read_bytes())
    return sidecar_path(path).read_bytes()


def main(kind: str, seconds: str) -> None:
    """Fuzz one target."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sidecar = seeds(folder, kind)
        targets: dict[str, Callable[[bytes], object]] = {
            "recording": lambda data: recording_bytes(data, sidecar),
            "pdf": pdf_bytes,
            "job": lambda data: job_file(data, folder / "job.toml"),
        }
        limits = ["-timeout=10", "-rss_limit_mb=1024", "-max_len=200000"]
        options = [f"-max_total_time={seconds}", "-print_final_stats=1", *limits]
        atheris.Setup([sys.argv[0], *options, str(folder / "corpus")], targets[kind])
        atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else "60")
