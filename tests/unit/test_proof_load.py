"""Reading proof files: what is accepted, and that every complaint names file, row and fix on one line."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.proof import schema
from rimward.proof.load import parse
from rimward.proof.reading import read_file, read_files

HEAD = "sample,release_bar,limit_bar,released"


def test_columns_in_any_order_with_unknown_ones():
    (sample,) = parse(
        "operator,released,limit_bar,sample,release_bar,temp_c\nmk,YES,5,A1,7.58,21.5\n", "a.csv"
    )
    assert (sample.name, sample.release_bar, sample.limit_bar, sample.released, sample.row) == (
        "A1",
        7.58,
        5.0,
        "yes",
        2,
    )
    assert sample.known["temp_c"] == 21.5 and sample.raw["operator"] == "mk"
    assert sample.margin == pytest.approx(1.516)


def test_bom_blank_lines_and_spreadsheet_semicolons(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(
        "\ufeffsample;release_bar;limit_bar;released\r\n\r\nA;7,5;5,0;no\r\n;;;\r\n".encode()
    )
    (sample,) = read_file(path)
    assert (sample.release_bar, sample.limit_bar, sample.row, sample.raw["release_bar"]) == (
        7.5,
        5.0,
        3,
        "7.5",
    )


def test_two_files_of_one_name_are_distinguished(tmp_path):
    paths = [tmp_path / lab / "tests.csv" for lab in ("fern", "hollow")]
    for path in paths:
        path.parent.mkdir()
        path.write_text(f"{HEAD}\nA,7.{len(path.parent.name)},5,yes\n")
    assert [sample.where for sample in read_files([*paths, paths[0]])] == [
        "fern/tests.csv row 2",
        "hollow/tests.csv row 2",
        "fern/tests.csv row 2",
    ]
    assert [sample.file for sample in read_files(paths[:1])] == ["tests.csv"]


def test_invalid_rows_need_no_pressures():
    (sample,) = parse(f"{HEAD}\nA,,,invalid\n", "a.csv")
    assert not sample.valid


BAD = [
    (f"{HEAD}\nA,7.5,5,maybe", "row 2", "yes, no or invalid"),
    (f"{HEAD}\nA,7.5,5,yes\nB,,5,yes", "row 3", "release_bar is empty"),
    (f"{HEAD}\nA,abc,5,yes", "row 2", "'abc'"),
    (f"{HEAD}\nA,7.5 bar,5,yes", "row 2", "without a unit"),
    (f'{HEAD}\nA,"7,5",5,yes', "row 2", "with a point"),
    (f"{HEAD}\nA,nan,5,yes", "row 2", "'nan'"),
    (f"{HEAD}\nA,1e999,5,yes", "row 2", "release_bar"),
    (f"{HEAD}\nA,-1,5,yes", "row 2", "out of range"),
    (f"{HEAD}\nA,7.5,0,yes", "row 2", "above 0 bar"),
    (f"{HEAD}\nA,110,5,yes", "row 2", "looks like psi"),
    (f"{HEAD}\nA,760,5,no", "row 2", "Write both in bar"),
    (f"{HEAD}\nA,1e300,1e299,yes", "row 2", "out of range"),
    (f"{HEAD}\n,7.5,5,yes", "row 2", "sample is empty"),
    (f"{HEAD}\nA,7.5,5", "row 2", "3 cells under 4 columns"),
    (f"{HEAD}\nA,7.5,5,yes,x", "row 2", "5 cells under 4 columns"),
    (f'{HEAD}\nA,"7.5,5,yes', "row 2", "quotation marks"),
    (f"{HEAD},tyre_mounts\nA,7.5,5,yes,1.5", "row 2", "whole number"),
    (f"{HEAD},temp_c\nA,7.5,5,yes,900", "row 2", "out of range"),
    ("sample,release_bar,released\nA,7.5,yes", "row 1", "no column limit_bar"),
    (f"{HEAD},released\nA,7.5,5,yes,no", "row 1", "appears twice"),
    (f"{HEAD}\n", "a.csv", "no rows"),
    ("", "row 1", "no column"),
]


@pytest.mark.parametrize("text, place, words", BAD)
def test_every_complaint_names_place_and_fix_on_one_line(text, place, words):
    with pytest.raises(Refusal) as refused:
        parse(text, "a.csv")
    said = str(refused.value)
    assert "a.csv" in said and place in said and words in said and refused.value.fix
    assert "\n" not in said


def test_not_utf8(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(HEAD.encode() + b"\nA\xff,7.5,5,yes\n")
    with pytest.raises(Refusal, match="not UTF-8"):
        read_file(path)


@settings(max_examples=80, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text):
    try:
        assert parse(f"{HEAD}\n{text}", "a.csv")
    except Refusal as refused:
        assert "\n" not in str(refused)


def test_the_published_schema_names_the_columns_of_the_contract():
    """The column list of the contract, in its order, and two of our own for the gauge."""
    assert list(schema.columns()) == [
        "sample",
        "release_bar",
        "limit_bar",
        "released",
        "rim_id",
        "tyre_id",
        "tyre_mounts",
        "first_use",
        "medium",
        "temp_c",
        "ramp_kpa_s",
        "hold_s",
        "stop_reason",
        "instrument",
        "calibrated",
        "batch",
        "rim_inner_mm",
        "tyre_nominal_mm",
        "tyre_measured_mm",
        "gauge_u_bar",
        "hold_bar",
    ]
    assert schema.required_names() == ("sample", "release_bar", "limit_bar", "released")
    assert schema.columns()["released"].words == ("yes", "no", "invalid")


def test_the_example_in_the_schema_can_be_read():
    assert len(parse("\n".join(schema.document()["notes"]), "example.csv")) == 2
