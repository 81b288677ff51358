"""Whatever comes from outside, asked by a fuzzer that sees which lines it reaches.

``python tests/bench/fuzz_parsers.py TARGET [-max_total_time=300 and other options of libFuzzer]``
with one of the targets below. Needs ``pip install atheris``, which the suite does without: what is
found here becomes a test beside the parser. Seeds are right inputs, made anew in a scratch folder.
"""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

try:
    import atheris
except ImportError:
    sys.exit("this needs atheris: pip install atheris")

ROOT = Path(__file__).resolve().parents[2]

with atheris.instrument_imports(include=["tagkit"]):
    from tagkit.assets.card import card_in
    from tagkit.assets.payload import tag_in
    from tagkit.assets.tag import Kind, parse_tag
    from tagkit.errors import TagkitError
    from tagkit.intake.delivery import read_delivery
    from tagkit.intake.sheet import sheet_from_bytes
    from tagkit.jobs.tables import table_from_bytes
    from tagkit.labels.template import parse_template
    from tagkit.reader.pictures import pictures_in_bytes
    from tagkit.record.envelope import MalformedEvent, strictly_from_bytes
    from tagkit.record.record import Record
    from tagkit.settings import Settings
    from tagkit.site_toml import parse_settings, settings_text


def refused_in_words(act: Callable[[], object]) -> object:
    """What came of it; None where it was refused with a reason and a remedy."""
    try:
        return act()
    except TagkitError as error:
        assert error.problem and error.remedy
        return None


def payload(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    for said in (data, text, data.decode("latin-1")):
        found = tag_in(said)
        assert found is None or found.serial > 0
    card_in(text)
    refused_in_words(lambda: parse_tag(text))


def template(data: bytes) -> None:
    refused_in_words(lambda: parse_template(data.decode("utf-8", "replace"), "it", "it.toml"))


def settings(data: bytes) -> None:
    read = refused_in_words(lambda: parse_settings(data.decode("utf-8", "replace")))
    if isinstance(read, Settings):
        assert parse_settings(settings_text(read)) == read


def sheet(data: bytes) -> None:
    name = "it.xlsx" if data[:2] == b"PK" else "it.csv"
    refused_in_words(lambda: read_delivery(sheet_from_bytes(data, name)))
    refused_in_words(lambda: table_from_bytes(data, name))


def picture(data: bytes) -> None:
    found = refused_in_words(lambda: list(pictures_in_bytes(data, "it.png")))
    assert found is None or all(one.ndim in (2, 3) for one in found)  # type: ignore[attr-defined]


def envelope(data: bytes) -> None:
    try:
        event = strictly_from_bytes(data)
    except MalformedEvent:
        return
    assert event.raw == data


TARGETS = {one.__name__: one for one in (payload, template, settings, sheet, picture, envelope)}


def seeds(target: str, scratch: Path) -> list[bytes]:
    """Right inputs."""
    match target:
        case "payload":
            return [
                b"B-QM-00417-D",
                b"HTTPS://X.Y/A/B-QM-00417-D",
                b"https://x/8004/9521B-QM-00417-D",
            ]
        case "template":
            return [path.read_bytes() for path in (ROOT / "label_templates").glob("*.toml")]
        case "settings":
            return [settings_text(Settings()).encode()]
        case "sheet":
            import openpyxl

            book, data = openpyxl.Workbook(), io.BytesIO()
            book.active.append(["Serial", "Voltage", "Weight (kg)"])
            book.active.append(["A1", 48, 1111])
            book.save(data)
            text = b"Maker's serial,Voltage (V),Service weight,Chemistry\nB1,48,1100 kg,gel\n"
            return [data.getvalue(), text, text.replace(b",", b";")]
        case "picture":
            from PIL import Image

            made = []
            for kind in ("PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP", "PPM"):
                data = io.BytesIO()
                Image.effect_noise((24, 20), 80).save(data, kind)
                made.append(data.getvalue())
            return made
        case _:
            with Record.create(scratch / "site", "QM") as record:
                with record.writing("TS", "desk") as writing:
                    tag = str(writing.issue(Kind.BATTERY))
                    writing.append("registered", [tag], {"nameplate": {}})
                return [raw for raw, _ in record.export()]


def main() -> None:
    target = sys.argv.pop(1) if len(sys.argv) > 1 else ""
    if target not in TARGETS:
        sys.exit(f"name a target: {', '.join(TARGETS)}")
    with tempfile.TemporaryDirectory() as scratch:
        corpus = Path(scratch, "corpus")
        corpus.mkdir()
        for number, data in enumerate(seeds(target, Path(scratch))):
            (corpus / str(number)).write_bytes(data)
        atheris.Setup([*sys.argv, str(corpus)], TARGETS[target])
        atheris.Fuzz()


if __name__ == "__main__":
    main()
