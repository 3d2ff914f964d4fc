"""Routes, readings over a ride, the heat map and `rimward ride`."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.limits.ceiling import Place, Refused, Ride
from rimward.limits.ride import highest_point_m, readings
from rimward.limits.ride import route as route_module
from rimward.limits.ride.readings import reading

from tests.unit.schema import validate

MOUNTAIN = (
    "--fill-temp",
    "18",
    "--fill-altitude",
    "200",
    "--ride-altitude-max",
    "2400",
    "--ride-temp-max",
    "45",
)


def gpx(
    path: Path, *elevations: object, head: str = '<?xml version="1.0" encoding="UTF-8"?>'
) -> Path:
    points = "".join(
        f'<trkpt lat="46.{i:03}" lon="8.0">'
        + (f"<ele>{e}</ele>" if e is not None else "")
        + "</trkpt>"
        for i, e in enumerate(elevations)
    )
    path.write_text(
        f'{head}<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>',
        encoding="utf-8",
    )
    return path


def test_highest_point_plus_fifty(tmp_path: Path) -> None:
    assert highest_point_m(gpx(tmp_path / "a.gpx", 400, 2350, 900)) == 2400


def test_route_points_count_too(tmp_path: Path) -> None:
    path = tmp_path / "r.gpx"
    path.write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><rte>'
        '<rtept lat="1" lon="1"><ele>700</ele></rtept></rte></gpx>',
        encoding="utf-8",
    )
    assert highest_point_m(path) == 750


def refused(path: Path) -> str:
    with pytest.raises(Refused) as refusal:
        highest_point_m(path)
    return refusal.value.id


def test_routes_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert refused(gpx(tmp_path / "a.gpx", 400, None, 900)) == "route-elevation-missing"
    assert refused(gpx(tmp_path / "b.gpx")) == "route-empty"
    assert refused(gpx(tmp_path / "c.gpx", 400, 99_999)) == "route-elevation-implausible"
    assert refused(gpx(tmp_path / "d.gpx", 400, "nan")) in (
        "route-elevation-implausible",
        "route-not-understood",
    )
    assert refused(tmp_path / "none.gpx") == "route-not-understood"
    (tmp_path / "e.gpx").write_text("not xml", encoding="utf-8")
    assert refused(tmp_path / "e.gpx") == "route-not-understood"
    monkeypatch.setattr(route_module, "LARGEST_BYTES", 100)
    assert refused(gpx(tmp_path / "f.gpx", 400)) == "route-too-large"


@pytest.mark.parametrize(
    "head",
    [
        '<!DOCTYPE gpx [<!ENTITY a "b">]>',
        "<!doctype gpx>",
        '<?xml version="1.0"?>\n<!-- x -->\n<! DOCTYPE gpx>',
        '<!ENTITY a "b">',
    ],
)
def test_a_document_type_is_refused_before_parsing(
    tmp_path: Path, head: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import gpxpy

    monkeypatch.setattr(gpxpy, "parse", lambda *_: pytest.fail("it was parsed"))
    assert refused(gpx(tmp_path / "a.gpx", 400, head=head)) == "route-doctype"


def test_other_encodings_cannot_hide_a_document_type(tmp_path: Path) -> None:
    text = '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE gpx><gpx/>'
    (tmp_path / "a.gpx").write_bytes(text.encode("utf-16"))
    (tmp_path / "b.gpx").write_bytes('<?xml version="1.0" encoding="UTF-7"?><gpx/>'.encode())
    assert refused(tmp_path / "a.gpx") == refused(tmp_path / "b.gpx") == "route-not-understood"


def test_the_grid_holds_fill_and_worst_case() -> None:
    found = readings(427_000, Place.of(18, 200), Ride.of(2400, 45), 500_000)
    assert found.gauge_pa[0][0] == pytest.approx(427_000)
    assert found.highest == (pytest.approx(499_085, abs=1), 2400.0, 45.0)
    assert (
        found.over_limit is False
        and readings(460_000, Place.of(18, 200), Ride.of(2400, 45), 500_000).over_limit is True
    )


def test_a_fill_exactly_at_its_limit_is_not_over() -> None:
    """Places and fills whose arithmetic, done twice, differs in the last bit."""
    for metres in range(-400, 3000, 200):
        for kpa in range(100, 900, 8):
            found = readings(kpa * 1000, Place.of(20, metres), Ride.of(metres, 20), kpa * 1000)
            assert found.over_limit is False, (metres, kpa)
            assert (
                readings(
                    kpa * 1000 + 1, Place.of(20, metres), Ride.of(metres, 20), kpa * 1000
                ).over_limit
                is True
            )


def test_a_reading_needs_the_fills_temperature() -> None:
    for ask in (
        lambda: readings(400_000, Place.of(None, 0), Ride.of(1000, 30)),
        lambda: reading(400_000, Place.of(None, 0), 1000, 30),
    ):
        with pytest.raises(ValueError, match="temperature is needed"):
            ask()


@pytest.mark.parametrize("start", [0.1, 1.1, 4.4, 333.3, 1234.567, 2999.9])
def test_the_grid_ends_exactly_at_the_highest_point_there_is(start: float) -> None:
    for count in (3, 7, 13, 61):
        found = readings(400_000, Place.of(18, start), Ride.of(9000.0, 45.3), count=count)
        assert found.altitudes_m[-1] == 9000.0 and found.temps_c[-1] == 45.3


def answer(*args: str, code: int = 0) -> dict:
    result = CliRunner().invoke(cli, ["ride", *args, "--json"])
    assert result.exit_code == code, result.output
    found = json.loads(result.stdout)
    validate(found, "ride")
    return found


def test_the_command_and_its_heat_map(tmp_path: Path) -> None:
    png = tmp_path / "map.png"
    found = answer("--fill", "4.6 bar", *MOUNTAIN, "--limit", "5 bar", "--png", str(png))
    assert found["over_limit"] is True and found["highest"]["gauge_pa"] == pytest.approx(
        535_146, abs=5
    )
    assert [note["id"] for note in found["warnings"]] == ["over-limit"]
    assert len(found["gauge_pa"]) == len(found["altitudes_m"]) and len(found["gauge_pa"][0]) == len(
        found["temps_c"]
    )
    assert png.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_heat_map_shows_the_limit(tmp_path: Path) -> None:
    from matplotlib.image import imread

    red = []
    for limit in ("5 bar", "9 bar"):
        answer("--fill", "4.6 bar", *MOUNTAIN, "--limit", limit, "--png", str(tmp_path / "map.png"))
        pixels = imread(tmp_path / "map.png")
        red.append(
            int(((pixels[..., 0] > 0.95) & (pixels[..., 1] < 0.1) & (pixels[..., 2] < 0.1)).sum())
        )
    assert red[0] > 2000 and red[1] == 0


def test_people_see_bar_psi_and_marks() -> None:
    text = (
        CliRunner().invoke(cli, ["ride", "--fill", "4.6 bar", *MOUNTAIN, "--limit", "5 bar"]).stdout
    )
    assert "5.35!" in text and "77.6!" in text and "limit     5.00 bar (72.5 psi) gauge" in text
    heads = [line.split() for line in text.splitlines() if line.startswith("gauge")]
    assert [head[:2] for head in heads] == [["gauge", "bar"], ["gauge", "psi"]] and all(
        head[2] == "18.0°C" and head[-1] == "45.0°C" for head in heads
    )


def test_a_pair_gives_its_limit_and_its_refusals() -> None:
    assert (
        answer(
            "--fill",
            "4 bar",
            *MOUNTAIN,
            "--rim",
            "622x23TSS",
            "--tyre",
            "28-622",
            "--approved",
            "yes",
        )["limit_pa"]
        == 500_000
    )
    assert (
        answer(
            "--fill",
            "4 bar",
            *MOUNTAIN,
            "--rim",
            "622x23TSS",
            "--tyre",
            "28-584",
            "--approved",
            "yes",
            code=1,
        )["refusals"][0]["id"]
        == "bead-seat-mismatch"
    )


def test_nothing_is_assumed() -> None:
    assert answer("--fill", "4 bar", code=1)["refusals"][0]["id"] == "fill-temperature-missing"
    assert (
        answer("--fill", "4 bar", "--ride-temp-max", "30", code=1)["refusals"][0]["id"]
        == "fill-temperature-missing"
    )
    assert [note["id"] for note in answer("--fill", "4 bar", "--fill-temp", "18")["warnings"]] == [
        "ride-not-stated"
    ]
    assert answer("--fill", "4", "--fill-temp", "18", code=1)["refusals"][0]["id"] == "unit-missing"


def test_the_cold_end_of_the_ride_is_reported() -> None:
    """4 bar at 18 °C and sea level is (4 + 1.01325) x 263.15 / 291.15 - 1.01325 = 3.5179 bar at -10 °C."""
    cold = ("--fill", "4 bar", "--fill-temp", "18", "--ride-temp-min", "-10")
    found = answer(*cold, "--tyre-min", "3.6 bar")
    assert (
        found["lowest"] == {"gauge_pa": 351_787, "altitude_m": 0, "temp_c": -10}
        and found["under_minimum"] is True
    )
    assert [note["id"] for note in found["warnings"]] == ["below-tyre-minimum-on-ride"]
    assert (
        found["temps_c"][0] == -10
        and found["temps_c"][-1] == 18
        and found["highest"]["gauge_pa"] == 400_000
    )
    assert answer(*cold, "--tyre-min", "3.5 bar")["under_minimum"] is False
    assert answer(*cold)["under_minimum"] is None and answer(*cold)["warnings"] == []
    pair = (
        "--rim",
        "622x23TSS",
        "--tyre",
        "28-622",
        "--approved",
        "yes",
        "--tyre-range",
        "3.6-6 bar",
    )
    assert answer(*cold, *pair)["under_minimum"] is True
    assert "3.51 bar" in CliRunner().invoke(cli, ["ride", *cold, "--tyre-min", "3.6 bar"]).stdout


def test_a_heat_map_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    result = CliRunner().invoke(
        cli, ["ride", "--fill", "4 bar", *MOUNTAIN, "--png", str(tmp_path / "none" / "map.png")]
    )
    assert isinstance(result.exception, Refusal) and "cannot be written" in str(result.exception)


def test_wrong_usage() -> None:
    for args in (
        ("--fill", "4 bar", "--rim", "622x23TSS"),
        ("--fill", "4 bar", "--rim", "622x23TSS", "--tyre", "28-622", "--limit", "5 bar"),
        (),
    ):
        assert CliRunner().invoke(cli, ["ride", *args]).exit_code == 2


def test_a_ride_that_changes_one_thing_has_one_row_or_column() -> None:
    flat = readings(400_000, Place.of(18, 200), Ride.of(200, 30))
    assert len(flat.altitudes_m) == 1 == len(flat.gauge_pa) and len(flat.temps_c) == 7
    cool = readings(400_000, Place.of(18, 200), Ride.of(1200, 10))
    assert (
        cool.temps_c == (18.0,)
        and len(cool.altitudes_m) == 7
        and all(len(row) == 1 for row in cool.gauge_pa)
    )
