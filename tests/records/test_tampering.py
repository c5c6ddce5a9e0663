"""Whatever is changed, deleted, added or reordered behind the program's back is found.

Each test changes the database with raw SQL, past the rules inside it, as its owner could.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ringout.records import open_store
from ringout.records.chain import canonical, record_hash
from ringout.records.schema import TABLE_OF, metadata, records
from tests.records.tamper import TABLES, raw

OF_THE_CHAIN = {t.name: t for t in [records, *TABLE_OF.values()]}
COLUMNS = [(name, column.name) for name, table in OF_THE_CHAIN.items() for column in table.columns]


def verified(place):
    with place.open() as store:
        return store.verify()


def test_what_nobody_touched_holds(filled):
    found = filled.verify()
    assert found.holds
    assert found.head == filled.head().hash
    assert found.records == filled.head().number > 30


def test_the_database_itself_refuses_changes(place, filled):
    for table in TABLES:
        column = "digest = 'x'" if table == "pictures" else "number = number + 1000"
        for words in (f"UPDATE {table} SET {column}", f"DELETE FROM {table}"):
            with pytest.raises(Exception, match="only added to"), raw(place) as sql:
                sql(words)
    assert verified(place).holds


def test_the_database_itself_refuses_to_be_emptied(place, filled):
    with raw(place) as sql:
        if not sql.server:
            return  # SQLite has no TRUNCATE; DELETE is refused by the test above
    for table in TABLES:
        with pytest.raises(Exception, match="only added to"), raw(place) as sql:
            sql(f"TRUNCATE {table} CASCADE")
    assert verified(place).holds


@pytest.mark.parametrize("table", TABLES)
def test_the_database_itself_refuses_a_row_in_the_place_of_another(place, filled, table):
    key = "digest" if table == "pictures" else "cell, number"
    with raw(place) as sql:
        taken = sql(f"SELECT * FROM {table}")
        names = [c[0] for c in taken.description]
        row = dict(zip(names, taken.fetchone(), strict=True))
        server = sql.server
    changed = {"records": "who", "pictures": "content"}.get(table, "run")
    other = {"who": "x", "content": b"x"}.get(changed, 999)
    columns = ", ".join(f'"{n}"' for n in names)
    words = f"INTO {table} ({columns}) VALUES ({', '.join('?' * len(names))})"
    if server:
        words = f"INSERT {words} ON CONFLICT ({key}) DO UPDATE SET {changed} = EXCLUDED.{changed}"
    else:
        words = f"REPLACE {words}"
    with pytest.raises(Exception, match="only added to"), raw(place) as sql:
        sql(words, *(row | {changed: other}).values())
    assert verified(place).holds


def _other(column, old):
    """Return SQL for a value unlike the old one, of the type of the column."""
    kind = column.type.python_type
    if kind is int:
        return int(old or 0) + 1000
    if kind is float:
        return float(old or 0.0) + 0.5
    text = str(old or "")
    return ("b" if text.startswith("a") else "a") + text[1:] if text else "x"


@pytest.mark.parametrize("table", OF_THE_CHAIN)
def test_any_changed_column_of_any_record_is_found(place, filled, table):
    with raw(place) as sql:
        sql.unguard()
        if not sql.server:
            sql("PRAGMA foreign_keys = OFF")
        rows = sql(f"SELECT number FROM {table} ORDER BY number").fetchall()
    number = rows[len(rows) // 2][0]
    missed = []
    for column in OF_THE_CHAIN[table].c:
        quoted = f'"{column.name}"'
        with raw(place) as sql:
            (old,) = sql(f"SELECT {quoted} FROM {table} WHERE number = ?", number).fetchone()
            new = _other(column, old)
            sql(f"UPDATE {table} SET {quoted} = ? WHERE number = ?", new, number)
        broken = filled.verify().broken
        near = {number - 1, number, number + 1, number + 1000}
        if not near & {b.number for b in broken}:
            missed.append(column.name)
        with raw(place) as sql:
            at = new if column.name == "number" else number
            sql(f"UPDATE {table} SET {quoted} = ? WHERE number = ?", old, at)
        assert filled.verify().holds
    assert not missed


@pytest.mark.parametrize("column", ["low", "detail", "token", "value"])
def test_a_value_taken_away_is_found(place, filled, column):
    table = "steps" if column == "low" else "readings"
    with raw(place) as sql:
        sql.unguard()
        if column in ("detail", "token"):  # empty so far: one that is put in
            sql(f"UPDATE {table} SET {column} = '1' WHERE number = (SELECT MAX(number) "
                f"FROM {table})")  # fmt: skip
        else:
            sql(f"UPDATE {table} SET {column} = NULL WHERE {column} IS NOT NULL")
    assert "changed" in {b.kind for b in verified(place).broken}


@pytest.mark.parametrize("which", ["first", "middle", "last"])
@pytest.mark.parametrize("whole", [True, False], ids=["record", "content"])
def test_a_deleted_record_is_found(place, filled, which, whole):
    last = filled.head().number
    number = {"first": 1, "middle": last // 2, "last": last}[which]
    with raw(place) as sql:
        sql.unguard()
        for table in TABLE_OF.values():
            sql(f"DELETE FROM {table.name} WHERE number = ?", number)
        if whole:
            sql("DELETE FROM records WHERE number = ?", number)
    found = verified(place)
    assert not found.holds
    kinds = {b.kind for b in found.broken}
    assert kinds & ({"cut"} if whole and which == "last" else {"missing"})


def test_a_cut_off_end_is_found_by_the_note_of_where_it_ends(place, filled):
    last = filled.head().number
    with raw(place) as sql:
        sql.unguard()
        for table in [*TABLE_OF.values(), records]:
            sql(f"DELETE FROM {table.name} WHERE number > ?", last - 5)
    found = verified(place)
    assert [b.kind for b in found.broken] == ["cut"]
    assert f"went on to record {last}" in found.broken[0].text


def test_a_cut_off_end_with_its_note_is_found_only_against_a_printed_hash(place, filled):
    """What a chain alone cannot show: the printed hash is what shows it."""
    head = filled.head()
    with raw(place) as sql:
        sql.unguard()
        for table in [*TABLE_OF.values(), records]:
            sql(f"DELETE FROM {table.name} WHERE number > ?", head.number - 5)
        (shorter,) = sql("SELECT hash FROM records WHERE number = ?", head.number - 5).fetchone()
        sql("UPDATE heads SET number = ?, hash = ?", head.number - 5, shorter)
    with place.open() as store:
        assert store.verify().holds
        for said in (head.hash, head.hash[:8], f"{head.hash[:8]} {head.hash[8:16]}".upper()):
            found = store.verify(said)
            assert [b.kind for b in found.broken] == ["cut"]
        assert store.verify(shorter[:12]).found_at == head.number - 5


def test_two_records_that_changed_places_are_found(place, filled):
    with raw(place) as sql:
        sql.unguard()
        if not sql.server:
            sql("PRAGMA foreign_keys = OFF")
        for table in ("records", "readings"):
            for was, now in ((20, 9999), (21, 20), (9999, 21)):
                sql(f"UPDATE {table} SET number = ? WHERE number = ?", now, was)
    found = verified(place)
    assert {b.kind for b in found.broken} >= {"changed", "order"}


def test_a_record_put_in_is_found_also_with_a_good_hash_of_its_own(place, filled):
    """The forger computes a right hash for the new last record, and sets the note."""
    head = filled.head()
    body = {"run": 0, "step": 0, "text": "all was well"}
    top = {
        "cell": filled.cell, "number": head.number, "kind": "remark",
        "at": "2026-01-01T00:00:00.000000+00:00", "who": "Ada", "before": head.hash,
    }  # fmt: skip
    with raw(place) as sql:
        sql.unguard()
        top["number"] = head.number + 1
        made = record_hash(top, body)
        sql(
            'INSERT INTO records (cell, number, kind, at, who, "before", hash) '
            "VALUES (?, ?, ?, ?, ?, ?, ?)", *top.values(), made,
        )  # fmt: skip
        sql(
            "INSERT INTO remarks (cell, number, run, step, text) VALUES (?, ?, 0, 0, ?)",
            filled.cell, head.number + 1, body["text"],
        )  # fmt: skip
    found = verified(place)
    assert [b.kind for b in found.broken] == ["added"]


def test_content_without_a_record_is_found(place, filled):
    with raw(place) as sql:
        sql.unguard()
        if not sql.server:
            sql("PRAGMA foreign_keys = OFF")
        sql(
            "INSERT INTO remarks (cell, number, run, step, text) VALUES (?, 5000, 0, 0, 'x')",
            filled.cell,
        )
    assert "added" in {b.kind for b in verified(place).broken}


@pytest.mark.parametrize("deed", ["changed", "gone"])
def test_a_photo_whose_bytes_changed_is_found(place, filled, deed):
    with raw(place) as sql:
        sql.unguard()
        if deed == "gone":
            sql("DELETE FROM pictures")
        else:
            sql("UPDATE pictures SET content = ?", b"\xff\xd8\xffanother")
    assert [b.kind for b in verified(place).broken] == ["picture"]


def test_everything_deleted_but_the_note_is_found(place, filled):
    with raw(place) as sql:
        sql.unguard()
        for table in [*TABLE_OF.values(), records]:
            sql(f"DELETE FROM {table.name}")
    found = verified(place)
    assert "cut" in {b.kind for b in found.broken}


def test_nothing_is_added_to_a_chain_whose_note_is_gone(place, filled):
    from ringout.records import StoreError

    with raw(place) as sql:
        sql("DELETE FROM heads")
    with place.open() as store:
        with pytest.raises(StoreError) as told:
            store.add_remark("hm", who="Ada")
        assert "verify" in told.value.cure
        assert "cut" in {b.kind for b in store.verify().broken}


def test_all_tables_are_under_guard():
    assert {t.name for t in metadata.tables.values()} - set(TABLES) == {"heads"}


# -- the hash itself -----------------------------------------------------------------------

VALUES = st.none() | st.integers(-(2**31), 2**31) | st.floats(allow_nan=False) | st.text()
BODIES = st.dictionaries(st.text(min_size=1), VALUES, max_size=6)


@given(BODIES, BODIES)
def test_canonical_json_tells_unlike_bodies_apart(one, other):
    def shown(body):
        return {k: (type(v), str(v)) for k, v in body.items() if v is not None}

    same = canonical(one) == canonical(other)
    assert same == (shown(one) == shown(other)) or _inf_as_text(one, other)


def _inf_as_text(one, other) -> bool:
    """Return whether they differ in nothing but an infinite number written as text."""
    return any(v in ("inf", "-inf") for v in [*one.values(), *other.values()])


@given(BODIES)
def test_order_of_keys_makes_no_difference(body):
    head = {"cell": "a", "number": 1}
    assert record_hash(head, body) == record_hash(head, dict(reversed(list(body.items()))))


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_random_change_anywhere_is_found(tmp_path_factory, planned, data):
    """One random cell of one random row of the whole chain is changed, in SQLite."""
    from tests.records.conftest import Place, good_word, two_buttons

    folder = tmp_path_factory.mktemp("random")
    (folder / "cell.yaml").write_text(two_buttons(), "utf-8")
    place = Place(folder / "cell.yaml", None)
    cell, steps = planned
    with open_store(place.path) as store:
        store.start_run(cell, steps, who="Ada")
        for step in steps[:4]:
            store.add_reading(1, step.number, good_word(step), who="Ada")
    table, column = data.draw(
        st.sampled_from([c for c in COLUMNS if c[0] not in ("remarks", "photos")])
    )
    with raw(place) as sql:
        sql.unguard()
        rows = sql(f'SELECT number, "{column}" FROM {table}').fetchall()
        number, old = data.draw(st.sampled_from(rows))
        new = _other(OF_THE_CHAIN[table].c[column], old)
        sql(f'UPDATE {table} SET "{column}" = ? WHERE number = ?', new, number)
    assert not verified(place).holds
