"""Source objects of USB Power Delivery as 32-bit words.

Layouts: USB PD R3.2, 6.4.1, confirmed by look-up in two independent open sources that agree (Linux
include/linux/usb/pd.h; the Rust library embedded-usb-pd). Bit layouts are exact, so every comparison is.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.parts.usb_pd.objects import (
    PEAKS,
    EprAvsObject,
    FixedObject,
    PpsObject,
    SourceObject,
    SprAvsObject,
    decode_source_object,
    encode_source_object,
)

KNOWN: list[tuple[int, SourceObject]] = [
    # Fixed objects without flags, worked out again from the layout by an independent script (recomputed).
    (0x0001912C, FixedObject(v=5.0, i=3.0)),
    (0x0002D12C, FixedObject(v=9.0, i=3.0)),
    (0x0004B12C, FixedObject(v=15.0, i=3.0)),
    (0x0006412C, FixedObject(v=20.0, i=3.0)),
    (0x000640E1, FixedObject(v=20.0, i=2.25)),
    (0x00064145, FixedObject(v=20.0, i=3.25)),
    (0x000641F4, FixedObject(v=20.0, i=5.0)),
    # Extended power range (recomputed).
    (0x0008C1F4, FixedObject(v=28.0, i=5.0)),
    (0x000B41F4, FixedObject(v=36.0, i=5.0)),
    (0x000F01F4, FixedObject(v=48.0, i=5.0)),
    # First objects with flags (recomputed).
    (0x0881912C, FixedObject(v=5.0, i=3.0, unconstrained=True, epr_capable=True)),
    (0x0E01912C, FixedObject(v=5.0, i=3.0, unconstrained=True, communications=True, dual_data=True)),
    # Known answer of embedded-usb-pd's own unit test (confirmed by look-up; recomputed).
    (
        0x2A900801,
        FixedObject(v=0.1, i=0.01, dual_role=True, unconstrained=True, dual_data=True, epr_capable=True, peak=1.10),
    ),
    # Programmable ranges (layout confirmed by look-up; recomputed).
    (0xC0DC213C, PpsObject(v_min=3.3, v_max=11.0, i=3.0)),
    (0xC140213C, PpsObject(v_min=3.3, v_max=16.0, i=3.0)),
    (0xC1A42164, PpsObject(v_min=3.3, v_max=21.0, i=5.0)),
    # Adjustable ranges of the extended range (layout confirmed by look-up; recomputed).
    (0xD230968C, EprAvsObject(v_min=15.0, v_max=28.0, power=140.0)),
    (0xD2D096B4, EprAvsObject(v_min=15.0, v_max=36.0, power=180.0)),
    (0xD3C096F0, EprAvsObject(v_min=15.0, v_max=48.0, power=240.0)),
    # Adjustable range of the standard range (layout confirmed by look-up; recomputed).
    (0xE004B0E1, SprAvsObject(i_to_15_volts=3.0, i_to_20_volts=2.25)),
    # Known answers of embedded-usb-pd's own unit tests (confirmed by look-up).
    (0xC8060201, PpsObject(v_min=0.2, v_max=0.3, i=0.05, power_limited=True)),
    (0xD4060201, EprAvsObject(v_min=0.2, v_max=0.3, power=1.0, peak=1.10)),
    (0xE4000401, SprAvsObject(i_to_15_volts=0.01, i_to_20_volts=0.01, peak=1.10)),
]
named = pytest.mark.parametrize(("word", "record"), KNOWN, ids=[f"{word:#010x}" for word, _ in KNOWN])


@named
def test_a_known_object_encodes_to_its_word(word: int, record: SourceObject):
    assert encode_source_object(record) == word


@named
def test_a_known_word_decodes_to_its_object(word: int, record: SourceObject):
    assert decode_source_object(word) == record


peaks = st.sampled_from(PEAKS)


@st.composite
def source_objects(draw: st.DrawFn) -> SourceObject:
    """Draw any object that the fields can hold."""
    kind = draw(st.sampled_from(["fixed", "pps", "epr-avs", "spr-avs"]))
    if kind == "fixed":
        names = ("dual_role", "suspend", "unconstrained", "communications", "dual_data", "unchunked", "epr_capable")
        return FixedObject(
            v=draw(st.integers(0, 1023)) * 0.05,
            i=draw(st.integers(0, 1023)) * 0.01,
            peak=draw(peaks),
            **{name: draw(st.booleans()) for name in names},
        )
    if kind == "spr-avs":
        return SprAvsObject(
            i_to_15_volts=draw(st.integers(0, 1023)) * 0.01,
            i_to_20_volts=draw(st.integers(0, 1023)) * 0.01,
            peak=draw(peaks),
        )
    v_min, v_max = sorted((draw(st.integers(0, 255)), draw(st.integers(0, 255))))
    if kind == "pps":
        return PpsObject(
            v_min=v_min * 0.1, v_max=v_max * 0.1, i=draw(st.integers(0, 127)) * 0.05, power_limited=draw(st.booleans())
        )
    return EprAvsObject(v_min=v_min * 0.1, v_max=v_max * 0.1, power=float(draw(st.integers(0, 255))), peak=draw(peaks))


@given(source_objects())
def test_a_word_survives_the_round_trip(record: SourceObject):
    word = encode_source_object(record)
    assert encode_source_object(decode_source_object(word)) == word


@given(source_objects())
def test_an_object_survives_the_round_trip_to_far_below_a_step(record: SourceObject):
    back = decode_source_object(encode_source_object(record))
    assert type(back) is type(record)
    for name in type(record).__dataclass_fields__:
        # 1e-9 is rounding of a float; the least step is 10 mA.
        assert getattr(back, name) == pytest.approx(getattr(record, name), abs=1e-9)


@given(st.integers(0, 0xFFFFFFFF))
def test_any_word_is_an_object_or_is_refused_in_words(word: int):
    kind, augmented = word >> 30, word >> 28 & 3
    if kind in (1, 2) or (kind == 3 and augmented == 3):
        with pytest.raises(PartsError, match=f"{word:#010x}"):
            decode_source_object(word)
    else:
        assert isinstance(decode_source_object(word), FixedObject | PpsObject | EprAvsObject | SprAvsObject)


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (FixedObject(v=20.02, i=3.0), "not on the grid of 50 mV: take 20 V or 20.05 V"),
        (FixedObject(v=20.0, i=3.333), "not on the grid of 10 mA: take 3.33 A or 3.34 A"),
        (FixedObject(v=60.0, i=3.0), "the voltage of 60 V does not fit"),
        (FixedObject(v=-5.0, i=3.0), "does not fit"),
        (FixedObject(v=float("nan"), i=3.0), "does not fit"),
        (FixedObject(v=5.0, i=3.0, peak=1.3), "a peak of 130% has no code"),
        (PpsObject(v_min=3.3, v_max=11.05, i=3.0), "not on the grid of 100 mV"),
        (PpsObject(v_min=3.3, v_max=11.0, i=3.02), "not on the grid of 50 mA"),
        (PpsObject(v_min=11.0, v_max=3.3, i=3.0), "runs downwards"),
        (EprAvsObject(v_min=15.0, v_max=28.0, power=300.0), "the power of 300 W does not fit"),
        (EprAvsObject(v_min=28.0, v_max=15.0, power=140.0), "runs downwards"),
        (SprAvsObject(i_to_15_volts=3.005, i_to_20_volts=2.0), "the current up to 15 V"),
    ],
)
def test_a_value_off_the_grid_or_too_large_is_refused_with_words(record: SourceObject, words: str):
    with pytest.raises(OutOfRange) as refusal:
        encode_source_object(record)
    assert words in str(refusal.value)


@pytest.mark.parametrize(
    ("word", "words"),
    [(0x4001912C, "battery object"), (0x8001912C, "variable object"), (0xF0000000, "reserves")],
)
def test_an_object_that_is_not_read_says_what_it_is(word: int, words: str):
    with pytest.raises(PartsError, match=words):
        decode_source_object(word)


def test_more_than_32_bits_is_refused():
    with pytest.raises(OutOfRange, match="not a 32-bit word"):
        decode_source_object(1 << 32)
