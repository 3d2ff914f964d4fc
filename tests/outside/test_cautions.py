"""Safety rules quoted with their source (check-values.md section 9), against what the project does and says.

Bicycles are outside the scope of 29 CFR 1910.177; it is used by analogy, as README says.
"""

from pathlib import Path

from rimward.units import parse_pressure
from rimward_protocol import codes

ROOT = Path(__file__).parents[2]
PSI_PA = 6894.757293168361  # NIST SP 811: 6.894 757 E+03


def test_bead_seating_stays_at_or_under_40_psi():
    # California Code of Regulations, Title 8, section 3325: beads seated at not more than 40 psi (275.790 kPa)
    assert codes.SEAT_PAUSE_MAX_PA <= 40 * PSI_PA
    assert codes.SEAT_PAUSE_MAX_PA == 275_000


def test_retention_limit_of_a_straight_side_rim_is_5_bar_not_73_psi():
    # ETRTO / ISO 5775-2:2021 at second hand: 500 kPa; 73 psi = 503.317 kPa lies above it
    assert codes.STRAIGHT_SIDE_LIMIT_PA == 500_000 == codes.RIG_LOW_CEILING_PA
    assert parse_pressure("73 psi") > codes.STRAIGHT_SIDE_LIMIT_PA > parse_pressure("72.5 psi")


def test_readme_shows_the_usual_cautions():
    text = " ".join((ROOT / "README.md").read_text().replace("\n> ", "\n").split())
    for caution in (
        "eye protection",  # common practice
        "out of the plane of the wheel",  # 29 CFR 1910.177(c), (g): stay out of the trajectory
        "screen or distance",  # 29 CFR 1910.177(d)(3): restraining device or barrier
        "maker's own limits and local codes come first",
        "a qualified person decides",
    ):
        assert caution in text


def test_readme_names_the_sources_of_its_cautions():
    text = (ROOT / "README.md").read_text()
    for source in ("29 CFR 1910.177", "Title 8", "3325", "1910.242(b)", "ISO 4414"):
        assert source in text


def test_clip_on_chuck_hose_is_long_enough_for_title_8():
    # Title 8 section 3325: at least 24 in (0.6096 m) of hose between clip-on chuck and in-line valve or gauge
    from rimward.plant import PlantParams

    source = PlantParams.__dataclass_fields__["hose_c"].metadata["source"]
    assert "1.2 m" in source
    assert 1.2 >= 24 * 0.0254
