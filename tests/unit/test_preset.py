"""Presets: two wheels, two ceilings, each from its own rim and tyre; the file holds none."""

import json
from dataclasses import replace
from html.parser import HTMLParser

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from rimward.base.errors import Refusal
from rimward.limits.ceiling.model import Place
from rimward.paper import drawing
from rimward.wheels import preset
from rimward.wheels.preset import card

from tests.unit.shopdesk import FRONT, REAR, RIDE

MAKE = (
    "preset",
    "make",
    "Grand col",
    "--rider",
    "Ilse Vane",
    "--front",
    "aspen front",
    "--rear",
    "aspen rear",
    *RIDE,
    "-o",
    "p.json",
)
FILE = {
    "form": "rimward-preset-1", "name": "Grand col", "rider": "Ilse Vane", "made": "2026-01-02",
    "ride": {"fill_temp_c": 18.0, "fill_altitude_m": 200.0, "ride_altitude_max_m": 2400.0, "ride_temp_max_c": 45.0,
             "ride_temp_min_c": None},
    "front": {"wheel_id": "a" * 16, "label": "F", "target_pa": 400_000}, "rear": {"wheel_id": "b" * 16, "label": "R", "target_pa": 380_000},
}  # fmt: skip


def keys_in(held):
    """Every key anywhere in a JSON value."""
    inner = held.values() if isinstance(held, dict) else held if isinstance(held, list) else ()
    return (set(held) if isinstance(held, dict) else set()).union(*(keys_in(one) for one in inner))


@pytest.fixture
def pair(desk):
    """The shop's desk with one pair of wheels; the rear rim is marked lower."""
    desk.json("wheel", "add", *FRONT)
    marks = {"5 bar": "4 bar", "3.5-5 bar": "2.5-5 bar"}
    desk.json("wheel", "add", *[marks.get(word, word) for word in REAR])
    return desk


def test_each_target_is_held_against_its_own_wheel(pair, tmp_path):
    told = pair.json(*MAKE, "--front-target", "4.1 bar", "--rear-target", "3.3 bar")
    front, rear = told["now"]["front"], told["now"]["rear"]
    # (L + 75634) 291.15 / 318.15 - 98945 for 5 and 4 bar: 427837 and 336324 Pa by hand, rounded down to 1 kPa
    assert (front["ceiling_pa"], rear["ceiling_pa"]) == (427_000, 336_000)
    assert not any(
        "ceiling" in key for key in keys_in(json.loads((tmp_path / "p.json").read_text()))
    )
    assert pair(*MAKE, "--front-target", "4.1 bar", "--rear-target", "3.4 bar", "--overwrite") == 1
    assert "Rear (Aspen race)" in pair.err and "ceiling of 3.36 bar (48.7 psi)" in pair.err


def test_a_target_good_for_one_wheel_is_not_good_for_the_other(pair, tmp_path):
    assert pair(*MAKE, "--front-target", "4.2 bar", "--rear-target", "4.2 bar") == 1
    assert "Rear" in pair.err and not (tmp_path / "p.json").exists()


def test_the_instruments_stop_reading_bounds_both(pair, tmp_path):
    (tmp_path / "i.json").write_text('{"name": "bench 2", "guard": "0.10 bar"}')
    told = pair.json(
        *MAKE, "--front-target", "4.17 bar", "--rear-target", "3.25 bar", "--instrument", "i.json"
    )
    assert told["now"]["front"]["stop_reading_pa"] == 417_000
    assert (
        pair(
            *MAKE,
            "--front-target",
            "4.2 bar",
            "--rear-target",
            "3.2 bar",
            "--instrument",
            "i.json",
            "--overwrite",
        )
        == 1
    )
    assert "stop reading, 4.17 bar" in pair.err


@pytest.mark.parametrize("ends, says", [
    (("aspen front", "aspen front"), "same wheel"), (("aspen rear", "aspen front"), "is a rear wheel"), (("aspen", "aspen rear"), "matches 2 wheels"),
])  # fmt: skip
def test_an_impossible_pair_is_refused(pair, ends, says):
    words = (
        "preset",
        "make",
        "x",
        "--rider",
        "y",
        "--front",
        ends[0],
        "--rear",
        ends[1],
        "--front-target",
        "3 bar",
        "--rear-target",
        "3 bar",
        "-o",
        "p.json",
    )
    assert pair(*words) == 1 and says in pair.err


def test_a_changed_wheel_changes_the_ceiling_when_the_preset_is_next_used(pair):
    pair.json(*MAKE, "--front-target", "4 bar", "--rear-target", "3.2 bar")
    pair.json("wheel", "edit", "aspen rear", "--rim-max", "3.9 bar")
    assert pair.json("preset", "show", "p.json")["now"]["rear"]["ceiling_pa"] == 327_000
    pair.json("wheel", "edit", "aspen rear", "--rim-max", "3.8 bar")
    assert pair("preset", "show", "p.json") == 1 and "Rear" in pair.err
    pair.json("wheel", "retire", "aspen rear")
    assert pair("preset", "show", "p.json") == 1 and "retired" in pair.err


def test_a_low_target_is_cautioned(pair):
    told = pair.json(*MAKE, "--front-target", "3 bar", "--rear-target", "3.3 bar")
    assert [n["id"] for n in told["now"]["front"]["warnings"]] == ["target-below-tyre-minimum"]
    assert (
        pair("preset", "show", "p.json") == 0 and "caution (target-below-tyre-minimum)" in pair.out
    )


def test_profiles_of_a_preset_are_two_each_with_its_own_ceiling(pair, tmp_path):
    pair.json("key", "new")
    pair.json(*MAKE, "--front-target", "4.1 bar", "--rear-target", "3.3 bar")
    made = pair.json("preset", "profiles", "p.json", "-o", "out")
    assert {end: one["profile"]["ceiling_pa"] for end, one in made.items()} == {
        "front": 427_000,
        "rear": 336_000,
    }
    assert made["front"]["profile"]["wheel_id"] != made["rear"]["profile"]["wheel_id"]
    assert len(list((tmp_path / "out").glob("*.rwp"))) == 2
    assert pair.json("profile", "show", made["rear"]["file"])["standing"] == "current"


class Said(HTMLParser):
    """The text of a page, and every address in it."""

    def __init__(self):
        super().__init__()
        self.words, self.links = [], []

    def handle_data(self, data):
        self.words.append(data)

    def handle_starttag(self, tag, attrs):
        self.links += [value for name, value in attrs if name in ("src", "href")]


def test_a_preset_without_a_ride_never_raises_a_wheels_ceiling(pair, tmp_path):
    """The front wheel's last profile is for a ride that leaves 4.27 bar of 5 bar. A preset that states none keeps it."""
    make = ("profile", "make", "--wheel", "aspen front", "--target", "3.8 bar")
    pair.json(*make, *RIDE, "-o", "f.rwp")
    plain = [word for word in MAKE if word not in RIDE]
    told = pair.json(*plain, "--front-target", "3.9 bar", "--rear-target", "3.3 bar")
    front, rear = told["now"]["front"], told["now"]["rear"]
    assert (front["ceiling_pa"], rear["ceiling_pa"]) == (427_000, 400_000)
    (note,) = [note for note in front["warnings"] if note["id"] == "ride-as-before"]
    assert note["text"].startswith(
        "As for its last profile: fill temperature, fill altitude, highest point, hottest tyre. "
    )
    made = pair.json("preset", "profiles", "p.json")
    assert made["front"]["profile"]["ceiling_pa"] == 427_000
    assert pair("preset", "show", "p.json") == 0
    assert "Front: Filled at 18 °C, 200 m" in pair.out
    assert "Rear: Fill temperature not stated" in pair.out
    assert pair(*plain, "--front-target", "4.3 bar", "--rear-target", "3.3 bar", "--overwrite") == 1
    assert "Front (Aspen race)" in pair.err and "ceiling" in pair.err


def test_the_card_has_the_same_content_in_every_form(pair, tmp_path):
    pair.json("wheel", "edit", "aspen front", "--label", "Ilse's <b>Aspen</b> & Ø")
    pair.json(
        *[w if w != "aspen front" else "ilse" for w in MAKE],
        "--front-target",
        "4.1 bar",
        "--rear-target",
        "3.3 bar",
    )
    for form in ("html", "pdf", "png", "svg"):
        assert pair("preset", "card", "p.json", "-o", f"card.{form}") == 0, pair.err
    assert pair("preset", "card", "p.json", "-o", "card.doc") == 1 and ".html" in pair.err

    page = Said()
    page.feed((tmp_path / "card.html").read_text())
    with pypdfium2.PdfDocument(tmp_path / "card.pdf") as pdf:
        assert len(pdf) == 1 and pdf[0].get_size() == pytest.approx(
            (148 / 25.4 * 72, 105 / 25.4 * 72), abs=0.02
        )
        in_pdf = pdf[0].get_textpage().get_text_range()
    for said in (" ".join(page.words), in_pdf):
        for words in (
            "4.27 bar",
            "61.9 psi",
            "3.36 bar",
            "48.7 psi",
            "4.10 bar",
            "3.30 bar",
            "FRONT",
            "REAR",
            "Ilse's <b>Aspen</b> & Ø",
            "gauge",
            card.CAUTIONS[0],
        ):
            assert words in said
    assert page.links == []
    with Image.open(tmp_path / "card.png") as image:
        assert image.width / image.info["dpi"][0] * 25.4 == pytest.approx(148, abs=0.2)


def test_the_target_is_the_cards_largest_figure(pair, tmp_path):
    from rimward.wheels.register import open_register

    pair.json(*MAKE, "--front-target", "4.1 bar", "--rear-target", "3.3 bar")
    register = open_register()
    read = preset.read(tmp_path / "p.json")
    drawn = card.card(read, preset.check(register, read))
    register.close()
    size = {item.text: item.size_pt for item in drawn.items if isinstance(item, drawing.Text)}
    assert (
        size["4.10 bar"] == size["3.30 bar"] == max(size.values())
        and size["4.27 bar"] < size["4.10 bar"] > size["3.36 bar"]
    )
    assert size["ceiling: never above"]


def test_nothing_on_the_card_leaves_it_or_overlaps(pair, tmp_path):
    pair.json("wheel", "edit", "aspen front", "--label", "W" * 60)
    words = [
        "x" * 60
        if w == "Grand col"
        else "m" * 60
        if w == "Ilse Vane"
        else "wwww"
        if w == "aspen front"
        else w
        for w in MAKE
    ]
    pair.json(*words, "--front-target", "4.1 bar", "--rear-target", "3.3 bar")
    from rimward.wheels.register import open_register

    register = open_register()
    read = preset.read(tmp_path / "p.json")
    drawn = card.card(read, preset.check(register, read))
    register.close()
    rows = {}
    for line in drawn.items:
        if isinstance(line, drawing.Text):
            left = drawing.left_edge(line)
            right = left + drawing.width_mm(line.text, line.size_pt, line.bold)
            assert (
                left >= card.MARGIN_MM - 0.01 and right <= card.WIDTH_MM - card.MARGIN_MM + 0.01
            ), line.text
            rows.setdefault(line.y_mm, []).append((left, right))
    for row in rows.values():
        assert all(
            one[1] <= other[0] for one, other in zip(sorted(row), sorted(row)[1:], strict=False)
        )


def test_the_card_cuts_nothing_of_the_ride_that_each_ceiling_holds_for(pair, tmp_path):
    """The rear wheel's ride is not stated, the front's is: both are on the card whole, a line each."""
    pair.json(*MAKE, "--front-target", "4.1 bar", "--rear-target", "3.3 bar")
    from rimward.wheels.register import open_register

    register = open_register()
    read = preset.read(tmp_path / "p.json")
    front, rear = preset.check(register, read)
    register.close()
    rear = replace(rear, asked=replace(rear.asked, place=Place(), ride=None))
    drawn = [item.text for item in card.card(read, (front, rear)).items if hasattr(item, "text")]
    for line in card.ride_lines((front, rear)):
        assert line in drawn
    assert any(
        text.startswith("Rear: ") and "not on a hotter or higher ride." in text for text in drawn
    )


def test_the_file_comes_back_as_it_was():
    assert preset.to_json(preset.from_json(FILE)) == FILE


def test_a_file_from_before_the_cold_end_is_still_read():
    older = {name: value for name, value in FILE["ride"].items() if name != "ride_temp_min_c"}
    assert preset.from_json({**FILE, "ride": older}) == preset.from_json(FILE)


@given(
    st.floats(-40, 60),
    st.floats(0, 9000),
    st.one_of(st.none(), st.floats(0, 9000)),
    st.one_of(st.none(), st.floats(-40, 90)),
)
def test_a_ride_that_comes_back_from_the_file_is_never_milder(fill_c, fill_m, ride_m, ride_c):
    held = {
        **FILE,
        "ride": {
            "fill_temp_c": fill_c,
            "fill_altitude_m": fill_m,
            "ride_altitude_max_m": ride_m,
            "ride_temp_max_c": ride_c,
        },
    }
    read = preset.from_json(held)
    again = preset.from_json(json.loads(json.dumps(preset.to_json(read))))
    assert again == read
    assert read.place.temp_ck / 100 - 273.15 <= fill_c + 1e-6
    assert ride_c is None or read.ride.temp_max_ck / 100 - 273.15 >= ride_c - 1e-6


@pytest.mark.parametrize("part, change", [
    ("", {"ceiling_pa": 500_000}), ("front", {"ceiling_pa": 500_000}), ("ride", {"ceiling_pa": 1}), ("", {"form": "other"}), ("", {"name": 3}),
    ("front", {"target_pa": "4 bar"}), ("front", {"target_pa": 0}), ("rear", {"target_pa": True}), ("rear", {"wheel_id": None}),
    ("ride", {"fill_temp_c": "warm"}), ("ride", {"ride_altitude_max_m": 1e9}), ("ride", {"fill_temp_c": True}), ("", {"ride": None}), ("", {"front": []}),
])  # fmt: skip
def test_a_file_with_anything_else_in_it_is_refused(part, change):
    held = json.loads(json.dumps(FILE))
    (held[part] if part else held).update(change)
    with pytest.raises(Refusal) as refused:
        preset.from_json(held)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("content", ["", "[]", "3", "null", "{", "[" * 3000, '{"form": NaN}'])
def test_files_of_another_kind_are_refused(tmp_path, content):
    (tmp_path / "p.json").write_text(content)
    with pytest.raises(Refusal):
        preset.read(tmp_path / "p.json")


def test_a_preset_of_another_register_is_refused(desk, tmp_path):
    (tmp_path / "p.json").write_text(json.dumps(FILE))
    assert desk("preset", "show", "p.json") == 1 and "not in this register" in desk.err
