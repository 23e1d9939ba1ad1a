"""Requests of USB Power Delivery as 32-bit words.

Layouts: USB PD R3.2, 6.4.2, confirmed by look-up in two independent open sources that agree (Linux
include/linux/usb/pd.h; the Rust library embedded-usb-pd). Bit layouts are exact, so every comparison is.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.parts.usb_pd.objects import EprAvsObject, FixedObject, PpsObject, SourceObject, SprAvsObject
from chargewright.parts.usb_pd.requests import (
    AvsRequest,
    FixedRequest,
    PpsRequest,
    Request,
    decode_request,
    encode_request,
)

FIXED = FixedObject(v=20.0, i=5.0)
PPS = PpsObject(v_min=3.3, v_max=21.0, i=5.0)
EPR_AVS = EprAvsObject(v_min=15.0, v_max=28.0, power=140.0)
SPR_AVS = SprAvsObject(i_to_15_volts=3.0, i_to_20_volts=2.25)

KNOWN: list[tuple[int, Request, SourceObject]] = [
    # Fixed requests (layout confirmed by look-up; recomputed).
    (0x4004B12C, FixedRequest(position=4, i_operating=3.0, i_max=3.0), FIXED),
    (0x5007D1F4, FixedRequest(position=5, i_operating=5.0, i_max=5.0), FIXED),
    (0x8047D1F4, FixedRequest(position=8, i_operating=5.0, i_max=5.0, epr=True), FIXED),
    # Known answer of embedded-usb-pd's own unit test (confirmed by look-up).
    (0x3540C864, FixedRequest(position=3, i_operating=0.5, i_max=1.0, mismatch=True, no_suspend=True, epr=True), FIXED),
    # Programmable: 20 mV and 50 mA (Linux pd.h, confirmed by look-up; recomputed).
    (0x6003483C, PpsRequest(position=6, v=8.40, i=3.0), PPS),
    (0x60038428, PpsRequest(position=6, v=9.00, i=2.0), PPS),
    # Adjustable: 25 mV with two zero bits (PD R3.2 tables 6.22 and 6.26, quoted in four open decoders; recomputed).
    (0x90464064, AvsRequest(position=9, v=20.0, i=5.0, epr=True), EPR_AVS),
]
named = pytest.mark.parametrize(("word", "record", "of"), KNOWN, ids=[f"{word:#010x}" for word, _, _ in KNOWN])


@named
def test_a_known_request_encodes_to_its_word(word: int, record: Request, of: SourceObject):
    assert encode_request(record) == word


@named
def test_a_known_word_decodes_to_its_request(word: int, record: Request, of: SourceObject):
    assert decode_request(word, of) == record


def test_an_adjustable_request_counts_20_volts_as_800_steps_of_25_millivolts():
    # PD R3.2 table 6.22/6.26, quoted in four open decoders (confirmed by look-up): field 800 in bits 20..9.
    assert (encode_request(AvsRequest(position=9, v=20.0, i=5.0, epr=True)) >> 9) & 0xFFF == 800


def test_20_volts_coded_in_20_millivolts_is_read_as_25_volts_by_an_adjustable_source():
    # The same table: field 1000 on steps of 25 mV is 25.0 V (recomputed). This is why the kinds are kept apart.
    coded_wrong = encode_request(PpsRequest(position=9, v=20.0, i=5.0, epr=True))
    assert (coded_wrong >> 9) & 0xFFF == 1000
    read = decode_request(coded_wrong, EPR_AVS)
    assert isinstance(read, AvsRequest)
    assert read.v == 25.0


def test_a_request_off_the_grid_of_an_adjustable_range_is_refused_with_the_likely_cause():
    coded_wrong = encode_request(PpsRequest(position=9, v=19.98, i=5.0, epr=True))  # field 999 is no multiple of 4
    with pytest.raises(PartsError, match=r"100 mV grid: was it coded in 20 mV, for 19\.98 V"):
        decode_request(coded_wrong, SPR_AVS)


positions = st.integers(1, 13)
marks = st.fixed_dictionaries(
    {name: st.booleans() for name in ("mismatch", "communications", "no_suspend", "unchunked", "epr")}
)


@st.composite
def requests(draw: st.DrawFn) -> tuple[Request, SourceObject]:
    """Draw any request that the fields can hold, with an object of its kind."""
    position, flags, i = draw(positions), draw(marks), draw(st.integers(0, 127)) * 0.05
    match draw(st.sampled_from([FIXED, PPS, EPR_AVS, SPR_AVS])):
        case FixedObject() as of:
            return (
                FixedRequest(
                    position=position,
                    i_operating=draw(st.integers(0, 1023)) * 0.01,
                    i_max=draw(st.integers(0, 1023)) * 0.01,
                    give_back=draw(st.booleans()),
                    **flags,
                ),
                of,
            )
        case PpsObject() as of:
            return PpsRequest(position=position, v=draw(st.integers(0, 4095)) * 0.02, i=i, **flags), of
        case of:
            return AvsRequest(position=position, v=draw(st.integers(0, 1023)) * 0.1, i=i, **flags), of


@given(requests())
def test_a_request_survives_the_round_trip(drawn: tuple[Request, SourceObject]):
    record, of = drawn
    word = encode_request(record)
    back = decode_request(word, of)
    assert type(back) is type(record)
    for name in type(record).__dataclass_fields__:
        # 1e-9 is rounding of a float; the least step is 10 mA.
        assert getattr(back, name) == pytest.approx(getattr(record, name), abs=1e-9)
    assert encode_request(back) == word


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (PpsRequest(position=6, v=8.41, i=3.0), "not on the grid of 20 mV: take 8.4 V or 8.42 V"),
        (PpsRequest(position=6, v=8.40, i=3.01), "not on the grid of 50 mA"),
        (AvsRequest(position=9, v=20.02, i=5.0), "not on the grid of 100 mV: take 20 V or 20.1 V"),
        (AvsRequest(position=9, v=20.025, i=5.0), "not on the grid of 100 mV"),
        (AvsRequest(position=9, v=200.0, i=5.0), "does not fit"),
        (FixedRequest(position=0, i_operating=1.0, i_max=1.0), "object position 0 does not exist"),
        (FixedRequest(position=14, i_operating=1.0, i_max=1.0), "object position 14 does not exist"),
        (FixedRequest(position=1, i_operating=11.0, i_max=1.0), "the operating current of 11 A does not fit"),
    ],
)
def test_a_request_off_the_grid_or_too_large_is_refused_with_words(record: Request, words: str):
    with pytest.raises(OutOfRange) as refusal:
        encode_request(record)
    assert words in str(refusal.value)


@pytest.mark.parametrize("word", [0x0004B12C, 0xE004B12C])
def test_a_position_that_no_source_has_is_refused(word: int):
    with pytest.raises(PartsError, match="which no source has"):
        decode_request(word, FIXED)
