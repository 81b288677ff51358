"""A station's camera: where it stands, and what its lens, shutter, sensor and coder add.

Pinhole with a view of 55° across (webcams: 50° to 78°). Lengths on the label are in modules
from the symbol's middle, so that the size in the picture is stated as pixels a module.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from .fields import Field, smooth

Homography = NDArray[np.float64]
Grey = NDArray[np.uint8]
Posture = Literal["station", "hard", "plain"]
_FOCAL = 0.96  # of the picture's width
SIZES = ((640, 480), (800, 600), (1280, 720), (1280, 960))


@dataclass(frozen=True)
class Camera:
    """One picture's circumstances.

    ``module`` is pixels a module at the symbol's middle, seen face-on from there; ``tilt`` the
    angle in degrees between the label's normal and the line of sight, ``toward`` the direction
    it leans; ``turn`` the rotation in the picture. ``blur`` is the standard deviation of the
    defocus in pixels, ``motion`` the length of the shake in pixels and ``motion_along`` its
    direction. ``exposure`` multiplies the light; ``noise`` is the standard deviation in grey
    values at mid grey (shot noise grows with the light). ``quality`` is JPEG's, 0 for none;
    ``sharpen`` the strength of the camera's own sharpening.
    """

    size: tuple[int, int]
    module: float
    middle: tuple[float, float]
    tilt: float = 0.0
    toward: float = 0.0
    turn: float = 0.0
    blur: float = 0.6
    motion: float = 0.0
    motion_along: float = 0.0
    exposure: float = 1.0
    shade: float = 0.0
    light_from: float = 0.0
    noise: float = 4.0
    quality: int = 0
    sharpen: float = 0.0


def drawn(rng: np.random.Generator, reach: float, posture: Posture = "station") -> Camera:
    """A camera drawn at random that has all of the symbol and its frame in view.

    ``reach`` is half the diagonal of symbol and frame in modules.

    ``station``: what a fixed webcam or a phone gets when a person holds the battery's label
    towards it: 3 to 6.5 pixels a module, mostly upright, tilt small as a rule and up to 50°,
    focus and light as a rule good; one picture of ten is dark, one of five shaken by up to 0.6
    of a module. Defocus is 0.5 to 0.95 px, more for labels held near, where webcams lose focus.
    Three of four are JPEG at 62 to 95, as cameras send them; two of five sharpened, as cameras
    do. Chosen so that whole labels are read by the peers in all but a few pictures: what is lost
    in the curve is lost to damage. ``hard``: every trouble often, from 2.2 pixels a module.
    ``plain``: the circumstances of section 13's smallest module (blur 0.6, noise 4, tilt to
    20°, any turn, no coder), the size to be set by whoever asks.
    """
    size = SIZES[int(rng.integers(0, len(SIZES)))] if posture != "plain" else (480, 400)
    hard = posture == "hard"
    if posture == "plain":
        tilt, turn = rng.uniform(0, 20), rng.uniform(0, 360)
        module = 3.0
    else:
        tilt = 50 * rng.beta(1.2, 1.2 if hard else 2.2)
        turn = rng.normal(0, 8) if rng.random() < 0.8 and not hard else rng.uniform(0, 360)
        module = float(np.exp(rng.uniform(np.log(2.2 if hard else 3.0), np.log(6.5))))
    # 0.9: a tilted label comes nearer to the camera on one side.
    module = min(module, 0.9 * min(size) / 2 / reach)
    room = np.array(size) / 2 - reach * module * 1.08
    middle = np.array(size) / 2 + np.maximum(room, 0) * rng.uniform(-0.8, 0.8, 2)
    camera = Camera(
        size, module, (float(middle[0]), float(middle[1])),
        tilt=float(tilt), toward=float(rng.uniform(0, 360)), turn=float(turn),
    )  # fmt: skip
    if posture == "plain":
        return camera
    dark = rng.random() < (0.35 if hard else 0.1)
    shaken = rng.random() < (0.5 if hard else 0.2)
    return replace(
        camera,
        blur=float(rng.uniform(0.5, 1.8 if hard else 0.95) * max(1.0, module / 5)),
        motion=float(rng.uniform(0.3, 0.9 if hard else 0.6) * module) if shaken else 0.0,
        motion_along=float(rng.uniform(0, 180)),
        exposure=float(rng.uniform(0.22, 0.4) if dark else rng.uniform(0.8, 1.15)),
        shade=float(rng.uniform(0.0, 0.45)),
        light_from=float(rng.uniform(0, 360)),
        noise=float(rng.uniform(4, 7) if dark else rng.uniform(1.5, 4.5)),
        quality=int(rng.integers(62, 96)) if rng.random() < 0.75 else 0,
        sharpen=float(rng.uniform(0.2, 0.8)) if rng.random() < 0.4 else 0.0,
    )


def homography(camera: Camera) -> Homography:
    """Modules from the symbol's middle -> pixels (pixel centres at whole numbers)."""
    width = camera.size[0]
    focal = _FOCAL * width
    tilt, toward, turn = np.radians([camera.tilt, camera.toward, camera.turn])
    axis = np.array([np.cos(toward), np.sin(toward), 0.0])
    lean = cv2.Rodrigues(axis * tilt)[0]
    spin = cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0]
    rotation = lean @ spin
    distance = focal / camera.module
    lens = np.array([
        [focal, 0, (camera.size[0] - 1) / 2], [0, focal, (camera.size[1] - 1) / 2], [0, 0, 1],
    ])  # fmt: skip
    sight = np.linalg.inv(lens) @ np.array([*camera.middle, 1.0])
    plane = np.column_stack([rotation[:, 0], rotation[:, 1], sight * distance])
    return np.asarray(lens @ plane, np.float64)


def to_picture(matrix: Homography, points: NDArray[np.floating]) -> NDArray[np.float64]:
    """Points in modules (…, 2) -> pixels (…, 2)."""
    seen = np.asarray(points, np.float64) @ matrix[:, :2].T + matrix[:, 2]
    return seen[..., :2] / seen[..., 2:]


def lay_on(
    picture: Field, art: Grey, cover: Grey, to_modules: Homography, matrix: Homography, over: int
) -> None:
    """Draws a flat label into the picture, each pixel the mean of ``over`` × ``over`` looks.

    ``to_modules`` takes pixels of ``art`` to modules; ``cover`` is 255 where there is label.
    """
    height, width = art.shape
    rim = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float64) - 0.5
    seen = to_picture(matrix @ to_modules, rim)
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2, 0)
    high = np.ceil(seen.max(axis=0)).astype(int) + 3
    high = np.minimum(high, np.array(picture.shape[::-1]))
    if np.any(high <= low):
        return
    # Output pixel u (fine grid) looks at picture pixel (u + 0.5) / over - 0.5 + low.
    fine = np.array([
        [over, 0, -over * low[0] + (over - 1) / 2], [0, over, -over * low[1] + (over - 1) / 2],
        [0, 0, 1],
    ])  # fmt: skip
    warp = fine @ matrix @ to_modules
    span = (int(high[0] - low[0]), int(high[1] - low[1]))
    size = (span[0] * over, span[1] * over)
    on = cv2.warpPerspective(art, warp, size, flags=cv2.INTER_LINEAR,
                             borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    mask = cv2.warpPerspective(cover, warp, size, flags=cv2.INTER_LINEAR)
    if over > 1:
        on = cv2.resize(on, span, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(mask, span, interpolation=cv2.INTER_AREA)
    window = picture[low[1] : high[1], low[0] : high[0]]
    # A soft shadow where the label stands off the surface.
    depth = cv2.GaussianBlur(mask, (0, 0), 2.5).astype(np.float32) * np.float32(0.3 / 255)
    share = mask.astype(np.float32) * np.float32(1 / 255)
    window *= 1 - depth * (1 - share)
    window += (on - window) * share


def expose(scene: Field, camera: Camera, rng: np.random.Generator) -> Grey:
    """What the sensor and the coder make of the light in ``scene`` (H × W, grey values)."""
    light = _light(camera, rng)
    scene = cv2.multiply(scene, light)
    if camera.blur > 0:
        scene = cv2.GaussianBlur(scene, (0, 0), camera.blur)
    if camera.motion > 0.5:
        scene = cv2.filter2D(scene, -1, _shake(camera.motion, camera.motion_along))
    if camera.noise > 0:
        grain = rng.standard_normal(scene.shape, np.float32)
        if camera.quality:
            # Cameras that compress also smooth their noise: it comes out in soft grains.
            grain = cv2.GaussianBlur(grain, (0, 0), 0.55) * np.float32(1.6)
            grain *= cv2.sqrt(cv2.max(scene, 4) * np.float32(1 / 128)) * np.float32(camera.noise)
        else:
            grain *= np.float32(camera.noise)
        cv2.add(scene, grain, scene)
    if camera.sharpen:
        soft = cv2.GaussianBlur(scene, (0, 0), 1.2)
        scene = cv2.addWeighted(scene, 1 + camera.sharpen, soft, -camera.sharpen, 0)
    taken: Grey = cv2.convertScaleAbs(cv2.max(scene, 0)).astype(np.uint8)
    if camera.quality:
        coded = cv2.imencode(".jpg", taken, [cv2.IMWRITE_JPEG_QUALITY, camera.quality])[1]
        taken = cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE).astype(np.uint8)
    return taken


def _light(camera: Camera, rng: np.random.Generator) -> Field:
    """Brighter towards the lamp, uneven, darker in the corners."""
    width, height = camera.size
    shape = (height // 16 + 1, width // 16 + 1)
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    angle = np.radians(camera.light_from)
    field = 1 - camera.shade * (0.5 - 0.35 * (x * np.cos(angle) + y * np.sin(angle)))
    field = field * (1 - 0.07 * (x * x + y * y))
    if camera.shade:
        field = field * (1 + 0.03 * smooth(rng, shape, 12))
    field = (field * camera.exposure).astype(np.float32)
    wide: Field = cv2.resize(field, (width, height), interpolation=cv2.INTER_LINEAR)
    return wide


def _shake(length: float, along: float) -> Field:
    """The kernel of a straight shake of ``length`` pixels."""
    side = 2 * int(np.ceil(length / 2)) + 3
    fine = np.zeros((side * 8, side * 8), np.float32)
    middle = side * 4
    dx, dy = np.cos(np.radians(along)) * length * 4, np.sin(np.radians(along)) * length * 4
    cv2.line(fine, (round(middle - dx), round(middle - dy)),
             (round(middle + dx), round(middle + dy)), 1.0, 8)  # fmt: skip
    kernel: Field = cv2.resize(fine, (side, side), interpolation=cv2.INTER_AREA)
    return kernel / kernel.sum()
