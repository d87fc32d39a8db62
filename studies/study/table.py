"""A store as a table: pandas, CSV, Parquet."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from domemargin.profiles import InputError
from domemargin.studies.study.store import Store, StoreError
from domemargin.studies.study.study import Study
from domemargin.studies.study.varied import column_of, kind_of
from domemargin.studies.whole_files import cells, whole_file

if TYPE_CHECKING:
    import pandas as pd

Finish = Callable[["pd.DataFrame"], "pd.DataFrame"]
BOOKKEEPING = ("seconds", "finished")  # what may differ between two runs of one study
PRESSURE = "reversal_pressure_mpa"
_PAGE = 10_000


def study_in(path: Path) -> Study:
    """The study that a store is of.  Raises StoreError."""
    with Store.read(path) as store:
        text = store.meta("study")
    if text is None:
        raise StoreError(f"the store {str(path)!r} holds no study yet; run it first", "store")
    try:
        return Study.from_json(text)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise StoreError(
            f"the store {str(path)!r} holds no study of bottoms that this program reads "
            f"({type(error).__name__}: {str(error)[:60]})",
            "store",
        ) from None


def read_table(path: Path) -> pd.DataFrame:
    """All planned points of a store in order: varied quantities, state, outputs, bookkeeping.

    Points not solved yet have the state "".  Names carry units; angles are in degrees.
    Raises StoreError.
    """
    import pandas as pd

    pages = list(pages_of(path))
    return pd.concat(pages, ignore_index=True) if len(pages) > 1 else pages[0]


def pages_of(path: Path, page: int = _PAGE) -> Iterator[pd.DataFrame]:
    """The same table, page by page; at least one page."""
    import pandas as pd

    study = study_in(path)
    with Store.read(path) as store:
        kinds = store.output_names()
        required = study.required
        first = True
        rows: list[dict[str, Any]] = []

        def frame() -> pd.DataFrame:
            columns = ["case", *(column_of(n) for n in study.names), "state", "reason",
                       *_with_margin(kinds, required), "solver", "key", *BOOKKEEPING]  # fmt: skip
            table = pd.DataFrame(rows, columns=columns)
            texts = {
                "state",
                "reason",
                "solver",
                "key",
                *(n for n, k in kinds.items() if k == "text"),
            }
            for name in columns:
                if name not in texts and name != "case":
                    table[name] = table[name].astype(float)
                elif name in texts:
                    table[name] = table[name].astype("string")
            return table

        for row in store.rows():
            rows.append(_flat(row, study.names, required))
            if len(rows) == page:
                yield frame()
                rows.clear()
                first = False
        if rows or first:
            yield frame()


def _with_margin(kinds: dict[str, str], required: float | None) -> list[str]:
    names = [PRESSURE] + [name for name in kinds if name != PRESSURE]
    return names if required is None else [PRESSURE, "margin", *names[1:]]


def _flat(row: dict[str, Any], names: tuple[str, ...], required: float | None) -> dict[str, Any]:
    point, outputs = row["point"], row["outputs"]
    flat: dict[str, Any] = {"case": row["number"]}
    for name in names:
        value = point[name]
        flat[column_of(name)] = math.degrees(value) if kind_of(name) == "angle" else value
    flat |= outputs
    pressure = outputs.get(PRESSURE)
    if required is not None:
        flat["margin"] = None if pressure is None else pressure / required - 1.0
    for name in ("state", "reason", "solver", "key", *BOOKKEEPING):
        flat[name] = row[name]
    return flat


def _as_it_is(page: pd.DataFrame) -> pd.DataFrame:
    return page


def export(path: Path, to: Path, finish: Finish = _as_it_is) -> int:
    """Write the table of a store as .csv or .parquet, page by page; returns the rows written.

    finish : adds columns to a page.
    Raises InputError for another ending, StoreError.
    """
    if to.suffix in (".csv", ".parquet"):
        write = _export_csv if to.suffix == ".csv" else _export_parquet
        with whole_file(to) as whole:
            return write(path, whole, finish)
    raise InputError(
        f"the table's file is {to.name!r}; its name must end in .csv or .parquet", "--table"
    )


def _export_csv(path: Path, to: Path, finish: Finish) -> int:
    total = 0
    for page in map(finish, pages_of(path)):
        for name in page.select_dtypes(include="string"):
            page[name] = cells(page[name])
        # 17 digits read back to the same number
        page.to_csv(to, mode="a" if total else "w", header=not total, index=False)
        total += len(page)
    return total


def _export_parquet(path: Path, to: Path, finish: Finish) -> int:
    import pyarrow as pa
    import pyarrow.parquet as pq

    total = 0
    writer = None
    study = study_in(path)
    about = {b"study": study.to_json().encode(), b"caution": json.dumps(_caution()).encode()}
    try:
        for page in map(finish, pages_of(path)):
            table = pa.Table.from_pandas(page, preserve_index=False)
            if writer is None:
                schema = table.schema.with_metadata({**(table.schema.metadata or {}), **about})
                writer = pq.ParquetWriter(to, schema, compression="zstd")
            writer.write_table(table.cast(writer.schema))
            total += len(page)
    finally:
        if writer is not None:
            writer.close()
    return total


def _caution() -> str:
    from domemargin.fea.core.record import CAUTION

    return CAUTION


def comparable(table: pd.DataFrame) -> pd.DataFrame:
    """The table without bookkeeping: the same for every run of one study."""
    return table.drop(columns=list(BOOKKEEPING))
