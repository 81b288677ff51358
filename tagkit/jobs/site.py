"""A site on this computer: its folder, its settings and its record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tagkit.assets.tag import check_site_code
from tagkit.errors import NotFound, WrongInput
from tagkit.settings import Settings
from tagkit.site_toml import parse_settings, settings_text
from tagkit.whole_file import whole_file

if TYPE_CHECKING:
    from tagkit.record.record import Record

SETTINGS_FILE = "site.toml"

Clock = Callable[[], datetime]


def system_clock() -> datetime:
    """Now, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Site:
    """An opened site. Use it as a context manager, so that the record is closed."""

    directory: Path
    settings: Settings
    record: Record
    clock: Clock = system_clock

    def now(self) -> datetime:
        """Now, aware, in UTC."""
        return self.clock()

    def proved(self) -> datetime:
        """The later of this computer's clock and what the record proves to be past: where a
        permission is judged, a clock set back renews nothing."""
        now = self.now()
        return max(now, self.record.believable(now))

    def behind(self) -> bool:
        """Whether this computer's clock is behind what the record proves to be past."""
        from tagkit.record.clock import TOLERANCE

        now = self.now()
        return self.record.believable(now) > now + TOLERANCE

    def timezone(self) -> tzinfo | None:
        """The zone in which times are shown; None is this computer's."""
        return zone_named(self.settings.site.timezone)

    def __enter__(self) -> Site:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.record.close()


def zone_named(name: str) -> tzinfo | None:
    """The time zone of site.toml; WrongInput when this computer does not know it."""
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise WrongInput(
            f"“{name}” is not a time zone", "Write one like Etc/UTC", f"{SETTINGS_FILE}, timezone"
        ) from None


def open_site(directory: Path, clock: Clock = system_clock, *, lent: bool = False) -> Site:
    """The site in ``directory``; NotFound, saying how to make one, when there is none.

    ``lent``: the site will pass from thread to thread, used by one of them at a time.
    """
    from tagkit.record.record import Record
    from tagkit.record.store import lent_connection, sqlite_connection

    settings = read_settings(directory)
    connect = lent_connection if lent else sqlite_connection
    record = Record.open(directory, clock=clock, connect=connect)
    if settings.site.code not in ("", record.site):
        record.close()
        raise WrongInput(
            f"the settings are of site {settings.site.code}, the record is of {record.site}",
            f'Bring the right site.toml back, or write code = "{record.site}" into it',
            str(directory / SETTINGS_FILE),
        )
    return Site(directory, settings, record, clock)


def read_settings(directory: Path) -> Settings:
    """The settings in ``directory``."""
    path = directory / SETTINGS_FILE
    try:
        # Some editors put a mark before UTF-8 text.
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise NotFound(
            f"{directory} is not a tagkit site (it has no {SETTINGS_FILE})",
            "Name the site's folder with --site or TAGKIT_SITE, or make one with "
            "“tagkit init DIR --code QM”",
        ) from None
    except UnicodeDecodeError:
        raise WrongInput("this is not UTF-8 text", "Save it as UTF-8", str(path)) from None
    settings = parse_settings(text, str(path))
    zone_named(settings.site.timezone)
    return settings


def _is_free(directory: Path, settings: Settings) -> bool:
    """Whether a site may be made there: an empty folder, or one where just that was cut off."""
    if not directory.is_dir():
        return False
    path = directory / SETTINGS_FILE
    left = [one for one in directory.iterdir() if ".part" not in one.name]
    return left == [] or (
        left == [path] and path.read_bytes() == settings_text(settings).encode("utf-8")
    )


def write_settings(directory: Path, text: str) -> None:
    """Writes site.toml, whole or not at all."""
    path = directory / SETTINGS_FILE
    with whole_file(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")


def create_site(
    directory: Path, code: str, settings: Settings | None = None, clock: Clock = system_clock
) -> Site:
    """A new, empty site; WrongInput when ``directory`` already holds one or other files."""
    from tagkit.record.record import Record

    code = check_site_code(code)
    settings = settings or Settings()
    settings = replace(settings, site=replace(settings.site, code=code))
    if directory.exists() and not _is_free(directory, settings):
        raise WrongInput(
            f"{directory} is already there and not empty", "Name a new or an empty folder"
        )
    directory.mkdir(parents=True, exist_ok=True)
    write_settings(directory, settings_text(settings))
    record = Record.create(directory, code, clock=clock)
    return Site(directory, settings, record, clock)
