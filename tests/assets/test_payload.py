"""What a symbol says: bare number, link, GS1 Digital Link, and nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.payload import PayloadForm, PayloadStyle, payload_for, tag_in
from tagkit.assets.tag import Kind, Tag
from tagkit.errors import WrongInput

TAG = Tag(Kind.BATTERY, "QM", 417)
BARE = PayloadStyle()
LINK = PayloadStyle(PayloadForm.LINK, "labels.example")
DIGITAL_LINK = PayloadStyle(PayloadForm.DIGITAL_LINK, "id.labels.example:8443", "952110000")
ALPHANUMERIC = set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


@pytest.mark.parametrize(
    ("style", "payload"),
    [
        (BARE, "B-QM-00417-D"),
        (LINK, "HTTPS://LABELS.EXAMPLE/A/B-QM-00417-D"),
        (DIGITAL_LINK, "HTTPS://ID.LABELS.EXAMPLE:8443/8004/952110000B-QM-00417-D"),
    ],
)
def test_the_three_forms_and_back(style, payload):
    assert payload_for(TAG, style) == payload
    assert set(payload) <= ALPHANUMERIC
    assert tag_in(payload) == TAG
    assert tag_in(payload.lower()) == TAG
    assert tag_in(payload.encode("ascii")) == TAG


@pytest.mark.parametrize(
    "foreign",
    ["", "B-QM-00417-E", "B-QM-417-D", "BQM00417D", " B-QM-00417-D", "B-QM-00417-D\n",
     "HTTPS://LABELS.EXAMPLE/B-QM-00417-D", "HTTPS://LABELS.EXAMPLE/A/B-QM-00417-E",
     "HTTPS://LABELS.EXAMPLE/A/B-QM-00417-D/X", "FTP://LABELS.EXAMPLE/A/B-QM-00417-D",
     "https://id.example/8004/B-QM-00417-D", "https://id.example/8003/952110000B-QM-00417-D",
     "https://maker.example/passport/123456", "4006381333931", "B-QM-00000-5", "Ｂ-QM-00417-D",
     "https:///A/B-QM-00417-D", "x" * 5000],
)  # fmt: skip
def test_a_foreign_code_is_not_one_of_ours(foreign):
    assert tag_in(foreign) is None


@given(st.binary(max_size=200) | st.text(max_size=200))
def test_any_content_gives_a_tag_or_none(content):
    found = tag_in(content)
    assert found is None or isinstance(found, Tag)


@given(st.sampled_from([BARE, LINK, DIGITAL_LINK]), st.data())
def test_a_damaged_payload_never_names_another_tag(style, data):
    payload = payload_for(TAG, style)
    at = data.draw(st.integers(len(payload) - len(str(TAG)), len(payload) - 1))
    wrong = data.draw(st.sampled_from(sorted(ALPHANUMERIC)))
    found = tag_in(payload[:at] + wrong + payload[at + 1 :])
    assert found in (None, TAG)


@pytest.mark.parametrize(
    ("form", "host", "prefix", "says"),
    [
        (PayloadForm.LINK, "", "", "host name"),
        (PayloadForm.LINK, "https://labels.example", "", "host name"),
        (PayloadForm.DIGITAL_LINK, "labels.example", "12A", "GS1 company prefix"),
    ],
)
def test_a_style_that_can_not_work_is_refused(form, host, prefix, says):
    with pytest.raises(WrongInput, match=says):
        PayloadStyle(form, host, prefix)


def test_the_asset_identifier_stays_within_thirty_characters():
    longest = PayloadStyle(PayloadForm.DIGITAL_LINK, "labels.example", "952110000123")
    assert tag_in(payload_for(Tag(Kind.BATTERY, "QMXY", 9_999_998), longest)) is not None
