"""A map written as TOML is read as the same map, whatever stands in it, and again after it was edited."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from kit.intake.drafted import as_toml
from kit.intake.drafting import Draft
from kit.intake.mapping import DAY_FORMATS, Across, Only, Place, TableMap, read_map
from kit.vocabulary import TABLES, UNITS

# What can stand in a header: anything but the blanks around it, which no reader keeps.
ODD = "aZé 1.\"'\\#={}[],\n\t\x7f\x85\u2028ß🩹"
headers = st.text(st.sampled_from(ODD), min_size=1, max_size=8).filter(lambda text: text == text.strip())
files = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=8).map(lambda name: f"{name}.csv")


def place(column):
    parts = {"column": headers}
    if column.unit in UNITS:
        parts["unit"] = st.none() | st.sampled_from(list(UNITS[column.unit]))
    if column.kind == "day":
        parts["format"] = st.none() | st.sampled_from(list(DAY_FORMATS))
    if column.kind in ("choice", "site", "stage"):
        parts["values"] = st.dictionaries(headers, st.sampled_from([*column.allowed, "unknown"]), max_size=3)
    return st.builds(Place, **parts)


@st.composite
def table_maps(draw, table):
    needed = [column for column in table.columns if column.required]
    others = draw(st.lists(st.sampled_from([c for c in table.columns if not c.required]), unique=True, max_size=5))
    columns = {column.name: draw(place(column)) for column in (*needed, *others)}
    taken = [one.column for one in columns.values()]
    columns = {
        name: one for name, one in columns.items() if taken.count(one.column) == 1 or table.column(name).required
    }
    across = (
        draw(st.none() | st.just(Across(headers="Size *", format="MM/DD/YYYY", unit="mm")))
        if "day" in columns
        else None
    )
    return TableMap(
        file=draw(files),
        decimal=draw(st.sampled_from(["point", "comma"])),
        only=draw(st.none() | st.builds(Only, column=headers, words=st.tuples(headers, headers))),
        across=across if table.name == "measurements" else None,
        columns=columns,
    )


maps = st.fixed_dictionaries(
    {name: table_maps(TABLES[name]) for name in ("wounds", "measurements")},
    optional={name: table_maps(table) for name, table in TABLES.items() if not table.required},
).filter(lambda found: all(_names_differ(mapped) for mapped in found.values()))


def _names_differ(mapped):
    named = [place.column for place in mapped.columns.values()]
    return len(set(named)) == len(named)


@settings(max_examples=60, deadline=None)
@given(maps)
def test_a_map_that_is_written_and_read_is_the_same_map(tmp_path_factory, found):
    file = tmp_path_factory.mktemp("map") / "columns.toml"
    file.write_text(as_toml(Draft(found)), encoding="utf-8")
    assert read_map(file) == {name: found[name] for name in TABLES if name in found}


@settings(max_examples=30, deadline=None)
@given(maps, headers, st.data())
def test_a_header_that_is_edited_is_all_that_changes(tmp_path_factory, found, header, data):
    """As a person does it: one line of the text is written anew."""
    name = data.draw(st.sampled_from([name for name in found]))
    column = data.draw(st.sampled_from(list(found[name].columns)))
    edited = found[name].columns | {column: Place(column=header)}
    wanted = found | {name: found[name].model_copy(update={"columns": edited})}
    if not _names_differ(wanted[name]):
        return
    lines, inside = [], False
    for line in as_toml(Draft(found)).split("\n"):
        inside = line == f"[{name}.columns]" or inside and not line.startswith("[")
        lines.append(
            f"{column} = {json.dumps(header, ensure_ascii=False)}"
            if inside and line.startswith(f"{column} = ")
            else line
        )
    file = tmp_path_factory.mktemp("map") / "columns.toml"
    file.write_text("\n".join(lines).replace("\x7f", "\\u007f"), encoding="utf-8")
    assert read_map(file) == {table: wanted[table] for table in TABLES if table in wanted}
