"""SPEC.md says what the tables say, and the tables hang together."""

import itertools

import pytest
from rimward_protocol import (
    answers,
    canonical,
    causes,
    codes,
    enumerations,
    kernel_words,
    layout,
    linkrows,
    messages,
    payloads,
    replies,
    rows,
    session,
    tables,
)

from tests.interpreter import make_spec

RECORDS = {
    "PROFILE": layout.PROFILE,
    "PRESET": layout.PRESET,
    "SESSION_HEADER": layout.SESSION_HEADER,
    "BLOCK_HEADER": tables.BLOCK_HEADER,
    "CHANGE": tables.CHANGE,
    "TRACE_RECORD": layout.TRACE_RECORD,
    **{word: table for _number, word, table in tables.BLOCKS},
    **{row[1]: row[2] for row in messages.PAYLOADS},
}


def test_spec_is_current() -> None:
    assert make_spec.PLACE.read_text() == make_spec.spec(), (
        "run `python -m tests.interpreter.make_spec`"
    )


def test_the_hash_that_is_sent_is_current() -> None:
    assert make_spec.HASH_PLACE.read_text() == make_spec.hash_text(), (
        "run `python -m tests.interpreter.make_spec`"
    )
    assert layout.layout_hash() == canonical.computed_hash()


def test_what_a_device_keeps_of_the_layouts_is_current() -> None:
    assert make_spec.ROWS_PLACE.read_text() == make_spec.rows_text(), (
        "run `python -m tests.interpreter.make_spec`"
    )
    assert make_spec.LINKROWS_PLACE.read_text() == make_spec.linkrows_text(), (
        "run `python -m tests.interpreter.make_spec`"
    )


def test_both_forms_of_a_table_say_the_same() -> None:
    for name in ("PROFILE", "PRESET", "SESSION_HEADER", "TRACE", "TRACE_RECORD", "EVENT", "END"):
        assert layout.fields(getattr(rows, name)) == [
            tuple(row[:2]) for row in getattr(tables, name)
        ]
    for number, _word, table, _replies in messages.PAYLOADS:
        assert layout.fields(linkrows.line_of(linkrows.MESSAGES, number)) == [
            tuple(row[:2]) for row in table
        ]
    assert linkrows.line_of(linkrows.MESSAGES, 99) is None
    for row in enumerations.SETTINGS:
        assert (
            tuple(linkrows.line_of(linkrows.SETTINGS, row[0]).split())
            == (row[2], row[3])
            == layout.setting_row(row[0])
        )
    assert layout.setting_row(99) is None


def test_spec_draws_every_record() -> None:
    text = make_spec.PLACE.read_text()
    for row in messages.PAYLOADS:
        assert f"### 0x{row[0]:02X} {row[1]}\n" in text
    assert text.count("```text") == sum(1 for table in RECORDS.values() if table)


def test_a_drawing_has_every_byte_once() -> None:
    drawn = make_spec.drawing(layout.PROFILE).splitlines()[2:-1]
    assert (
        sum(len(line[6:].rstrip("|")) for line in drawn)
        == layout.size(layout.PROFILE) * make_spec.CELL
    )


@pytest.mark.parametrize("name", RECORDS)
def test_tables_are_well_formed(name: str) -> None:
    table = RECORDS[name]
    names = [row[0] for row in table]
    assert len(names) == len(set(names))
    for place, (field, code, unit, meaning) in enumerate(table):
        assert field.isidentifier() and meaning and isinstance(unit, str)
        assert (
            code in ("B", "b", "H", "h", "I", "i")
            or code[:-1].isdigit()
            and code[-1] == "s"
            or code == "*"
            and place == len(table) - 1
        )
        assert layout.offset(table, field) == sum(
            layout.field_bytes(row[1]) for row in table[:place]
        )
        assert layout.index(table, field) == place
    with pytest.raises(KeyError):
        layout.offset(table, "no_such_field")
    with pytest.raises(KeyError):
        layout.index(table, "no_such_field")


@pytest.mark.parametrize(("title", "rows"), canonical.number_tables())
def test_numbers_and_words_are_unique(title: str, rows) -> None:
    assert len({row[0] for row in rows}) == len({row[1] for row in rows}) == len(rows)
    assert [row[0] for row in rows] == sorted(row[0] for row in rows)


def test_sizes() -> None:
    assert layout.size(layout.PROFILE) == 108  # at most 112, for a small QR code
    assert layout.offset(layout.PROFILE, "tag") == 92
    for row in messages.PAYLOADS:
        assert layout.size(row[2]) <= 512
    assert session.MAX_PAYLOAD + 8 + 4 + 16 <= 512
    assert (
        layout.size(tables.FAST) == session.FAST_HEAD
        and layout.size(tables.SNAPSHOT) == session.SNAPSHOT_HEAD
    )
    assert (
        layout.struct_format(tables.FAST) == session.FAST_FORMAT
        and layout.size(tables.CHANGE) == session.CHANGE_BYTES
    )
    assert (
        layout.size(layout.TRACE) + session.TRACE_RECORDS * layout.size(layout.TRACE_RECORD)
        <= session.MAX_PAYLOAD
    )
    assert session.SNAPSHOT_HEAD + 4 * session.SNAPSHOT_WORDS <= session.MAX_PAYLOAD


def named(module, rows) -> dict[str, int]:
    """Constants of a module for the words of a table."""
    words = {row[1].upper().replace("-", "_") for row in rows}
    return {name: value for name, value in vars(module).items() if name in words}


@pytest.mark.parametrize(
    ("module", "rows"), [(causes, enumerations.CAUSES), (codes, enumerations.MESSAGES)]
)
def test_every_word_has_a_constant_of_its_number(module, rows) -> None:
    assert named(module, rows) == {row[1].upper().replace("-", "_"): row[0] for row in rows}


def test_every_reply_code_has_a_row() -> None:
    constants = {
        value for name, value in vars(replies).items() if name.isupper() and isinstance(value, int)
    }
    assert constants == {row[0] for row in replies.REPLIES}


def test_every_code_has_words_for_people() -> None:
    for number, word, reason, step in enumerations.CAUSES:
        assert word == word.lower() and " " not in word
        assert causes.row_of(number) == (number, word, reason, step)
        assert len(reason) > 10 and len(step) > 8 and not reason.endswith(".")
    for number, _word, text, fix in replies.REPLIES:
        assert text and (fix or number == replies.OK)
    assert causes.row_of(200)[1] == "cause-200" and replies.row_of(200)[1] == "reply-200"


def test_what_latches() -> None:
    assert [row[0] for row in enumerations.CAUSES if causes.is_latched(row[0])] == list(
        range(16, 34)
    )
    assert not causes.is_latched(0) and not causes.is_latched(15) and not causes.is_latched(48)


def test_words_and_numbers_translate() -> None:
    assert codes.number_of(enumerations.RIM_CLASSES, "TSS") == codes.RIM_TSS
    assert (
        codes.word_of(enumerations.RIM_CLASSES, 2) == "TSS"
        and codes.word_of(enumerations.RIM_CLASSES, 77) == "number-77"
    )
    with pytest.raises(KeyError):
        codes.number_of(enumerations.RIM_CLASSES, "hookless")


def test_requests_and_replies() -> None:
    by_number = {row[0]: row[1] for row in messages.PAYLOADS}
    for number, _word, _table, expected in messages.PAYLOADS:
        assert bool(expected) == (number < 0x40)
        assert all(0x40 <= answer < 0x80 for answer in expected) and set(expected) <= set(by_number)
        assert messages.replies_to(number) == expected
    assert messages.payload_of(0x3F) is None and messages.replies_to(0x3F) == ()


def test_nothing_on_the_link_moves_air() -> None:
    # the brief of the link: it may not start the pump, raise a ceiling or confirm a bead
    fields = set(
        itertools.chain.from_iterable(
            (row[0] for row in table) for n, _w, table, _a in messages.PAYLOADS if n < 0x40
        )
    )
    assert not {
        name
        for name in fields
        if "ceiling" in name or "run" in name or "confirm" in name or name.endswith("_pa")
    }


def test_layout_hash_depends_on_every_table(monkeypatch: pytest.MonkeyPatch) -> None:
    before = canonical.computed_hash()
    assert len(before) == 8
    shorter = [
        (tables, "PROFILE"),
        (tables, "BLOCKS"),
        (tables, "TRACE_RECORD"),
        (payloads, "PAYLOADS"),
    ]
    shorter += [
        (tables, "PRESET"),
        (tables, "META_KEYS"),
        (kernel_words, "TABLES"),
        (enumerations, "SETTINGS"),
        (enumerations, "EVENTS"),
    ]
    for module, name in [*shorter, (enumerations, "CAUSES"), (answers, "REPLIES")]:
        with monkeypatch.context() as patch:
            patch.setattr(module, name, getattr(module, name)[:-1])
            assert canonical.computed_hash() != before
    assert canonical.computed_hash() == before


def test_layout_hash_depends_on_what_decides_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The format of a setting, who may change it, the name and unit of a kernel's word, the code of a field."""
    before = canonical.computed_hash()

    def changed(row: tuple, at: int) -> tuple:
        return (*row[:at], row[at] + "x", *row[at + 1 :])

    title, words = kernel_words.TABLES[1]
    cases = [
        (
            enumerations,
            "SETTINGS",
            (changed(enumerations.SETTINGS[0], at), *enumerations.SETTINGS[1:]),
        )
        for at in (2, 3)
    ]
    cases += [
        (
            kernel_words,
            "TABLES",
            (
                kernel_words.TABLES[0],
                (title, (changed(words[0], at), *words[1:])),
                *kernel_words.TABLES[2:],
            ),
        )
        for at in (0, 1)
    ]
    cases += [
        (tables, "PROFILE", (changed(tables.PROFILE[0], at), *tables.PROFILE[1:]))
        for at in (0, 1, 2)
    ]
    for module, name, value in cases:
        with monkeypatch.context() as patch:
            patch.setattr(module, name, value)
            assert canonical.computed_hash() != before, (name, value[0])


def test_the_kernels_hash_that_a_record_holds_is_current() -> None:
    assert make_spec.KERNELS_PLACE.read_text() == make_spec.kernels_text(), (
        "run `python -m tests.interpreter.make_spec`"
    )


def test_the_kernels_hash_sees_what_decides_and_nothing_else() -> None:
    import ast

    from rimward.kernels.fingerprint import kernel_hash, normalised

    plain = ast.parse("A = 3\ndef f(x):\n    return x + A\n")
    dressed = ast.parse(
        '"""Title."""\n# why\nA = 3\n\n\ndef f(x):\n    """Says."""\n    return (x + A)  # so\n'
    )
    assert normalised(plain) == normalised(dressed)
    assert normalised(ast.parse("A = 4\ndef f(x):\n    return x + A\n")) != normalised(plain)
    assert len({kernel_hash(), kernel_hash(bench=True)}) == 2 and len(kernel_hash()) == 8


def test_pack_and_unpack() -> None:
    assert (
        layout.unpack(layout.EVENT, bytes(15)) is None
        and layout.unpack(layout.EVENT, bytes(17)) is None
    )
    assert layout.unpack(messages.payload_of(codes.SETTING_IS), bytes(5)) is None
    assert layout.unpack(messages.payload_of(codes.SETTING_IS), bytes(8), 1)["value"] == b"\0"
    with pytest.raises(KeyError):
        layout.pack(layout.EVENT, {})
