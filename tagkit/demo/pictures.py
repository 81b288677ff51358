"""Pictures and a video of Quillmoor's labels where they hang, for the reader to read.

They are made for the numbers that a site has given out, from the very labels it prints, so
that what the reader finds in them is in that site's record.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np

from tagkit.assets.kinds import AnyPlate
from tagkit.assets.tag import Kind, Tag
from tagkit.assets.truck import Truck
from tagkit.demo import scenes
from tagkit.demo.camera import View, photograph
from tagkit.demo.roster import SHOWCASE, SITE_NAME, TROUBLES
from tagkit.demo.surfaces import Colour, Face, Pixels, Surface
from tagkit.errors import WrongInput
from tagkit.labels.content import content_for
from tagkit.labels.layout import lay_out
from tagkit.labels.pdf import placements, write_pdf
from tagkit.labels.raster import render_pages
from tagkit.labels.template import load_template

# What a maker's own code on a case might say; not one of ours, and nobody's.
FOREIGN_CODE = "BATTERY PASSPORT 0000-7781-EXAMPLE"
LIST_NAME = "contents.csv"
_DPI = 300
_TEMPLATES = {
    Kind.BATTERY: "battery-side",
    Kind.TRUCK: "truck-plate",
    Kind.CHARGER: "charger-plate",
    Kind.LIFTING: "gear-plate",
    Kind.ROOM: "gear-plate",
}
_FRAMES_A_SECOND = 12
_FRAMES_A_SHOT = 24


@dataclass(frozen=True)
class Labelled:
    """An asset whose label is to be seen; ``payload`` is what its symbol says."""

    tag: Tag
    plate: AnyPlate
    payload: str = ""


@dataclass(frozen=True)
class RoomPicture:
    """A picture that was made, and what can be read in it."""

    path: Path
    words: str
    names: tuple[str, ...]
    tags: tuple[Tag, ...]
    foreign: tuple[str, ...] = ()


def write_pictures(
    folder: Path,
    assets: Mapping[str, Labelled],
    progress: Callable[[int, int], None] | None = None,
    only: Sequence[str] | None = None,
) -> list[RoomPicture]:
    """Writes the pictures of the room as JPEG files, and ``contents.csv`` that lists them.

    ``assets`` maps maker's serials (trucks: fleet numbers) to what is labelled. Pictures of
    assets that are not in it are left out; ``only`` takes just these file names.
    """
    folder.mkdir(parents=True, exist_ok=True)
    wanted = [
        scene
        for scene in _SCENES
        if all(name in assets for name in scene.names) and (only is None or scene.file in only)
    ]
    made = []
    for index, scene in enumerate(wanted):
        faces = [face_of(assets[name]) for name in scene.names]
        picture = photograph(scene.surface(faces, scene.names), scene.view, 100 + index)
        path = folder / scene.file
        _write_jpeg(path, picture)
        tags = tuple(assets[name].tag for name in scene.names)
        made.append(RoomPicture(path, scene.words, scene.names, tags, scene.foreign))
        if progress is not None:
            progress(index + 1, len(wanted))
    _write_list(folder / LIST_NAME, made)
    return made


def write_video(path: Path, truck: Labelled, battery: Labelled, *, seed: int = 7) -> int:
    """A video of some four seconds: the truck's plate, then the battery's label.

    Motion JPEG in an AVI file, which OpenCV writes and reads everywhere by itself. Gives the
    number of frames.
    """
    size = (800, 600)
    number = truck.plate.fleet_number if isinstance(truck.plate, Truck) else None
    shots = (
        (
            scenes.truck_side(face_of(truck), fleet_number=number.value if number else ""),
            View((420, 300), 620, size, yaw=-22, pitch=8, roll=4, blur=2.2, noise=2.5),
            View((360, 245), 310, size, yaw=-9, pitch=3, roll=1, blur=0.7, noise=2.5),
        ),
        (
            scenes.battery_case(face_of(battery), seed=11),
            View((640, 420), 720, size, yaw=20, pitch=-8, roll=-3, blur=2.2, noise=2.5),
            View((550, 352), 310, size, yaw=8, pitch=-3, roll=-1, blur=0.7, noise=2.5),
        ),
    )
    writer = cv2.VideoWriter(
        str(path), cv2.CAP_OPENCV_MJPEG, cv2.VideoWriter.fourcc(*"MJPG"), _FRAMES_A_SECOND, size
    )
    if not writer.isOpened():
        raise WrongInput(
            "the video can't be written", "Choose a folder you can write to", str(path)
        )
    frames = 0
    shake = np.random.default_rng(seed)
    for surface, far, near in shots:
        for step in range(_FRAMES_A_SHOT):
            share = min(1.0, step / 11)
            view = far.towards(near, share * share * (3 - 2 * share))
            x, y = view.middle + shake.normal(0, 0.7, 2)
            view = replace(view, middle=(float(x), float(y)), roll=view.roll + shake.normal(0, 0.2))
            writer.write(photograph(surface, view, frames, over=1))
            frames += 1
    writer.release()
    return frames


def face_of(labelled: Labelled) -> Face:
    """The label of one asset as printed: laid out, written as PDF, rendered."""
    tag = labelled.tag
    template = load_template(_TEMPLATES[tag.kind])
    content = content_for(
        tag.kind, tag, labelled.plate, labelled.payload or str(tag), "en", SITE_NAME
    )
    layouts = [lay_out(content, template)]
    pdf = BytesIO()
    write_pdf(layouts, template, pdf)
    page = next(iter(render_pages(pdf.getvalue(), _DPI)))
    label = placements(layouts, template)[0].label
    dots = _DPI / 25.4
    top, left = round(label.y * dots), round(label.x * dots)
    cut = page[top : top + round(label.height * dots), left : left + round(label.width * dots)]
    return Face(_on_polyester(cut), label.width, label.height)


def foreign_face(text: str = FOREIGN_CODE, side: float = 46.0) -> Face:
    """A code that is not one of ours, on a small silver plate."""
    import qrcode

    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=4)
    code.add_data(text)
    code.make()
    light = ~np.array(code.get_matrix(), bool)
    grey = np.where(light, 206, 44).astype(np.uint8)
    grey = cv2.resize(grey, None, fx=12, fy=12, interpolation=cv2.INTER_NEAREST).astype(np.uint8)
    return Face(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR).astype(np.uint8), side, side)


def _on_polyester(grey: Pixels) -> Pixels:
    """Black resin on white film: never quite black, never quite white."""
    toned = cv2.convertScaleAbs(grey, alpha=224 / 255, beta=26)
    return cv2.cvtColor(toned, cv2.COLOR_GRAY2BGR).astype(np.uint8)


# The scenes

Builder = Callable[[Sequence[Face], Sequence[str]], Surface]


@dataclass(frozen=True)
class _Scene:
    file: str
    words: str
    names: tuple[str, ...]
    surface: Builder
    view: View
    foreign: tuple[str, ...] = ()


def _case(seed: int, colour: Colour = scenes.CASE_GREY) -> Builder:
    return lambda faces, _: scenes.battery_case(faces[0], colour=colour, seed=seed)


def _case_with_foreign(faces: Sequence[Face], _: Sequence[str]) -> Surface:
    return scenes.battery_case(faces[0], foreign=foreign_face())


def _eaten(faces: Sequence[Face], _: Sequence[str]) -> Surface:
    return scenes.battery_case(scenes.eaten_by_acid(faces[0], share=0.10), seed=12)


def _twins(faces: Sequence[Face], _: Sequence[str]) -> Surface:
    return scenes.two_batteries(faces[0], faces[1])


def _truck(faces: Sequence[Face], names: Sequence[str]) -> Surface:
    return scenes.truck_side(faces[0], fleet_number=names[0])


def _chargers(faces: Sequence[Face], _: Sequence[str]) -> Surface:
    return scenes.charger_bays(faces, (TROUBLES.charger_beside_it, TROUBLES.charger_out_of_place))


def _floor(faces: Sequence[Face], _: Sequence[str]) -> Surface:
    return scenes.floor(faces)


_CLOSE = View((550, 330), 440, yaw=-8, pitch=7, roll=-1, light=1.15, shade=0.75)
_NEAR = View((575, 335), 800, yaw=13, pitch=-5, roll=2, light=1.15, shade=0.75)
_SCENES = (
    _Scene("truck-c01.jpg", "a counterbalance truck's flank with its plate",
           (SHOWCASE.truck,), _truck,
           View((590, 360), 860, yaw=-15, pitch=4, roll=1.5)),
    _Scene("battery-with-foreign-code.jpg", "a battery on the roller stand, a foreign code beside",
           ("C/4801/20",), _case_with_foreign, replace(_NEAR, glare=30),
           (FOREIGN_CODE,)),
    _Scene("twins.jpg", "two batteries that look alike and are 300 kg apart",
           (TROUBLES.heavy_twin, TROUBLES.light_twin), _twins,
           View((745, 440), 1060, (1600, 1000), yaw=-12, pitch=4, roll=-1.5, light=1.2, shade=0.8)),
    _Scene("chargers.jpg", "a 24 V charger beside one of 36 V",
           ("CH36-1191", "CH24-1204"), _chargers,
           View((560, 380), 880, (1400, 1000), yaw=11, pitch=-3)),
    _Scene("labels-on-the-floor.jpg", "labels laid out on the concrete before they are stuck",
           ("H/8001/20", "H/8002/20", "C/4803/21", "C/4804/22", "C/4805/22"), _floor,
           View((420, 235), 790, (1600, 1000), yaw=4, pitch=20, roll=3)),
    _Scene("eaten-by-acid.jpg", "a label that acid has eaten into",
           (TROUBLES.label_eaten,), _eaten, _CLOSE),
    _Scene("delivery-fits.jpg", "a new battery that fits the truck",
           (SHOWCASE.fits,), _case(21), _NEAR),
    _Scene("delivery-too-light.jpg", "its twin in the same case, 300 kg lighter",
           (SHOWCASE.too_light,), _case(22), replace(_NEAR, yaw=-15, pitch=4, roll=-2)),
    _Scene("delivery-weight-unknown.jpg", "a new battery whose weight nobody wrote down",
           (SHOWCASE.weight_unknown,), _case(23), replace(_NEAR, yaw=6, pitch=8, roll=3)),
)  # fmt: skip


def _write_jpeg(path: Path, picture: Pixels) -> None:
    # Encoded in memory: OpenCV's own file names are not Unicode on every system.
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 84])
    if not done:
        raise WrongInput("the picture can't be written", "Report this", str(path))
    path.write_bytes(data.tobytes())


def _write_list(path: Path, made: Sequence[RoomPicture]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["Picture", "What it shows", "Assets", "Numbers", "Foreign codes"])
        for picture in made:
            writer.writerow([
                picture.path.name, picture.words, "; ".join(picture.names),
                "; ".join(map(str, picture.tags)), "; ".join(picture.foreign),
            ])  # fmt: skip
