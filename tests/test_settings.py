"""site.toml: written out, read back, and strict."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.payload import PayloadForm
from tagkit.errors import TagkitError, WrongInput
from tagkit.settings import Settings, SiteSettings
from tagkit.site_toml import logs_text, parse_settings, settings_text

QM = Settings(site=SiteSettings(code="QM", name="Quillmoor Cold Store"))
EVERY_KEY = [
    (section.name, entry.name)
    for section in dataclasses.fields(Settings)
    if dataclasses.is_dataclass(section.default_factory)
    for entry in dataclasses.fields(section.default_factory)
]


def written_with(section: str, key: str, value: str) -> str:
    """The default settings with one key set to ``value``, as TOML."""
    lines, current = [], ""
    for line in settings_text(QM).splitlines():
        if line.startswith("["):
            current = line.strip("[]")
        if current == section and line.startswith(f"{key} ="):
            line = f"{key} = {value}"
        lines.append(line)
    return "\n".join(lines)


def test_every_default_is_written_out_with_a_comment_and_read_back():
    text = settings_text(QM)
    assert parse_settings(text) == QM
    for _, key in EVERY_KEY:
        assert f"\n{key} = " in text
    assert text.count("\n# ") >= len(EVERY_KEY)


def test_what_is_left_out_has_its_default():
    assert parse_settings('[site]\ncode = "QM"') == Settings(site=SiteSettings(code="QM"))


def test_a_setting_of_an_earlier_version_does_no_harm():
    assert parse_settings(settings_text(QM).replace("[cells]", "[cells]\nfailing = 0.013")) == QM


def test_the_site_code_is_kept_in_capitals():
    assert parse_settings('[site]\ncode = " qm "').site.code == "QM"


def test_a_whole_number_is_good_where_a_number_is_wanted():
    assert parse_settings('[site]\ncode = "QM"\n[fit]\nplay_mm = 13').fit.play_mm == 13.0


@pytest.mark.parametrize(("section", "key"), EVERY_KEY)
def test_a_value_of_the_wrong_kind_names_its_key(section, key):
    for wrong in ("[1]", "{a = 1}"):
        with pytest.raises(WrongInput) as caught:
            parse_settings(written_with(section, key, wrong))
        assert key in caught.value.where
        assert section in caught.value.where
        assert caught.value.remedy


@pytest.mark.parametrize(
    ("section", "key", "high"),
    [
        (section.name, entry.name, entry.metadata["high"])
        for section in dataclasses.fields(Settings)
        if dataclasses.is_dataclass(section.default_factory)
        for entry in dataclasses.fields(section.default_factory)
        if entry.metadata["high"] is not None
    ],
)
def test_a_value_beyond_its_limits_names_key_and_limits(section, key, high):
    for wrong in (high + 1, "nan", "inf", -1000):
        with pytest.raises(WrongInput, match="not possible") as caught:
            parse_settings(written_with(section, key, str(wrong)))
        assert key in caught.value.where
        assert f"{high}" in caught.value.remedy
    with pytest.raises(WrongInput):
        parse_settings(written_with(section, key, "true"))


@pytest.mark.parametrize(
    ("text", "says", "where"),
    [
        ("site = 1", "must be a section", "site"),
        ("[site", "not TOML", "site.toml"),
        ("[sight]\ncode = 'QM'", "“sight” is not known", "site.toml"),
        ("[site]\ncode = 'QM'\ncolour = 'red'", "“colour” is not known", "[site]"),
        ("[site]\ncode = 'Q'", "not a site code", "[site] code"),
        ("", "not a site code", "[site] code"),
        ("[site]\ncode = 'QM'\nlanguage = 'xx'", "not allowed", "language"),
        ("[site]\ncode = 'QM'\nunits = 'furlongs'", "not allowed", "units"),
        ("[site]\ncode = 'QM'\ntimezone = 'Nowhere/Land'", "time zone", "timezone"),
        ("[site]\ncode = 'QM'\ntimezone = '../../x'", "time zone", "timezone"),
        ("[site]\ncode = 'QM'\n[labels]\npayload = 'link'", "host name", "[labels]"),
        ("[site]\ncode = 'QM'\n[fit]\nplay_mm = '13'", "can't stand here", "play_mm"),
    ],
)
def test_a_mistake_is_named_with_its_place(text, says, where):
    with pytest.raises(WrongInput, match=says) as caught:
        parse_settings(text)
    assert where in caught.value.where
    assert caught.value.remedy


def test_links_are_set_up_from_the_settings():
    text = "[site]\ncode = 'QM'\n[labels]\npayload = 'link'\nhost = 'labels.example'"
    style = parse_settings(text).payload_style()
    assert (style.form, style.host) == (PayloadForm.LINK, "labels.example")


@given(
    st.text(st.characters(codec="utf-8"), max_size=30),
    st.text(st.characters(codec="utf-8"), max_size=10),
    st.floats(0, 100),
    st.booleans(),
)
def test_any_settings_come_back_as_they_were_written(name, by, play, cool):
    settings = dataclasses.replace(
        QM,
        site=dataclasses.replace(QM.site, name=name),
        station=dataclasses.replace(QM.station, by=by),
        fit=dataclasses.replace(QM.fit, play_mm=play),
        readiness=dataclasses.replace(QM.readiness, cool_ends_rest=cool),
    )
    assert parse_settings(settings_text(settings)) == settings


@given(st.text(max_size=80))
def test_any_text_is_settings_or_an_error(text):
    try:
        parse_settings(text)
    except TagkitError as error:
        assert error.remedy


def test_the_columns_of_a_chargers_log_are_kept_by_kind_of_file() -> None:
    columns = {"battery": 'Batt. "ID"', "started": "Start", "ended": "Stop"}
    text = settings_text(QM) + logs_text("row 2", columns)
    assert parse_settings(text).logs == {"row 2": columns}
    assert parse_settings(settings_text(parse_settings(text))).logs == {"row 2": columns}


@pytest.mark.parametrize(
    "text",
    ["logs = 1", "[logs]\nrow = 1", '[logs.row]\nbatery = "x"', "[logs.row]\nah = 3"],
)
def test_columns_that_cannot_be_are_named(text: str) -> None:
    with pytest.raises(WrongInput) as caught:
        parse_settings(f"{text}\n" + settings_text(QM))
    assert "logs" in caught.value.where
