"""Properties of the ceiling for every rim, tyre, place and ride."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from rimward.limits.ceiling import Place, Ride, Rim, Tyre, assess

TYPES = ("SS", "TSS", "HB", "C", "TC", "unknown")
pressures = st.integers(50_000, 1_500_000)
rims = st.builds(
    Rim,
    st.just(622),
    st.sampled_from((13, 15, 17, 19, 21, 23, 25, 30)),
    st.sampled_from(TYPES),
    st.none() | pressures,
)
tyres = st.builds(
    Tyre,
    st.integers(18, 100),
    st.just(622),
    st.none() | st.integers(50_000, 400_000),
    st.none() | pressures,
    st.just("yes"),
    st.just("rigid"),
)
places = st.builds(Place, st.integers(25315, 31315), st.floats(-400, 3000))
rides = st.builds(Ride, st.none() | st.floats(-400, 5000), st.none() | st.integers(26315, 37315))
rises = st.floats(0, 1500)


def bound(rim: Rim, tyre: Tyre, place: Place, ride: Ride) -> int:
    """The ceiling the limits allow, whether or not the pair is refused."""
    found = assess(rim, tyre, place, ride)
    return found.bound_pa or 0


@given(rims, tyres, places, rides)
def test_never_above_any_limit_and_whole_kilopascals(
    rim: Rim, tyre: Tyre, place: Place, ride: Ride
) -> None:
    found = assess(rim, tyre, place, ride)
    if found.ceiling_pa is not None:
        assert found.ceiling_pa % 1000 == 0 and 0 < found.ceiling_pa <= min(
            limit.pa for limit in found.limits
        )
        for stated in (
            rim.max_pa,
            tyre.max_pa,
            500_000 if rim.type in ("SS", "TSS", "unknown") else None,
        ):
            assert stated is None or found.ceiling_pa <= stated
        assert found.envelope is not None and found.limit_pa is not None
        assert found.ceiling_pa <= found.envelope.fill_ceiling_pa < found.ceiling_pa + 1000
        highest = found.envelope.highest_gauge_if_filled_to_ceiling_pa
        assert (
            highest is not None
            and highest <= found.limit_pa <= found.envelope.highest_gauge_if_filled_to_limit_pa
        )
        assert tyre.min_pa is None or tyre.min_pa <= found.ceiling_pa


@given(rims, tyres, places, rides, pressures)
def test_another_limit_never_raises_it(
    rim: Rim, tyre: Tyre, place: Place, ride: Ride, pa: int
) -> None:
    before = bound(rim, tyre, place, ride)
    lower_tyre = replace(tyre, max_pa=min(pa, tyre.max_pa or pa))
    if before:
        assert bound(rim, lower_tyre, place, ride) <= before
    if (
        rim.max_pa is not None
    ):  # a rim's mark that was missing replaces the careful cap that stood in for it
        assert bound(replace(rim, max_pa=min(pa, rim.max_pa)), tyre, place, ride) <= before


@given(rims, tyres, places, rides, rises, st.integers(0, 3000), st.integers(0, 3000))
def test_height_heat_and_a_cold_fill_never_raise_it(
    rim: Rim, tyre: Tyre, place: Place, ride: Ride, up: float, hotter: int, colder: int
) -> None:
    assert place.temp_ck is not None
    before = bound(rim, tyre, place, ride)
    top = ride.altitude_max_m if ride.altitude_max_m is not None else place.altitude_m
    hot = ride.temp_max_ck if ride.temp_max_ck is not None else place.temp_ck
    assert bound(rim, tyre, place, replace(ride, altitude_max_m=top + up)) <= before
    assert bound(rim, tyre, place, replace(ride, temp_max_ck=hot + hotter)) <= before
    if ride.temp_max_ck is not None:
        assert bound(rim, tyre, replace(place, temp_ck=place.temp_ck - colder), ride) <= before


@given(rims, tyres, places, rides)
def test_a_ride_never_raises_it_and_no_altitude_or_heat_below_the_fill_matters(
    rim: Rim, tyre: Tyre, place: Place, ride: Ride
) -> None:
    alone = assess(rim, tyre, place).bound_pa or 0
    assert bound(rim, tyre, place, ride) <= alone
    assert bound(rim, tyre, place, Ride(-400.0, 25315)) == alone


@given(st.integers(1500, 9000))
def test_the_same_mark_in_any_unit(tenths_kpa: int) -> None:
    pa = tenths_kpa * 100
    tyre = Tyre(28, 622, approved="yes")
    marks = (
        f"{pa / 1000:.1f} kPa",
        f"{pa / 1e5:.3f} bar",
        f"{pa / 1e6:.4f} MPa",
        f"{pa / 1e6:.4f}".replace(".", ",") + " MPa",
        f"{pa / 6894.757293168361:.6f} psi",
        f"{pa / 98066.5:.7f} kgf/cm2",
    )
    assert len({assess(Rim.parse("622x19TC", mark), tyre).ceiling_pa for mark in marks}) == 1
